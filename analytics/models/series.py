"""Figures that follow each series, and the alerts that they raise.

A series is one approach and one finish class: attempts that may be compared.
"""

from django.db import models
from django.db.models.functions import Now

from approaches.models import Approach, Attempt, FinishClass, Plan, Session
from clubs.models import ClubRow, KeptRow, Membership
from common.constraints import SameClub


class SeriesRow(ClubRow):
    """A row of one series."""

    approach = models.ForeignKey(
        Approach, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    finish_class = models.CharField(max_length=12, choices=FinishClass.choices)

    class Meta:
        abstract = True


class SeriesState(SeriesRow):
    """How far a series is computed, with which method, and its latest figures."""

    method = models.PositiveSmallIntegerField(help_text="Version of the formulas.")
    revision = models.BigIntegerField(default=0, help_text="Grows with each refresh.")
    through_attempt = models.ForeignKey(
        Attempt,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    n_attempts = models.PositiveIntegerField(default=0)
    figures = models.JSONField(default=dict, help_text="Figures over the latest window.")
    rules_stamp = models.PositiveBigIntegerField(
        default=0,
        db_default=0,
        help_text="By which state of the club's alert rules its sessions were judged.",
    )
    judge_due_at = models.DateTimeField(
        null=True, help_text="When the session that is still open will have finished."
    )
    unjudged_since = models.DateTimeField(
        null=True, help_text="Start of the first session that the charts have not judged."
    )
    computed_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            SameClub("approach", name="series_state_approach_same_club"),
            SameClub("through_attempt", name="series_state_attempt_same_club"),
            models.UniqueConstraint(
                fields=["club", "approach", "finish_class"], name="series_state_once"
            ),
        ]
        indexes = [
            models.Index(
                fields=["judge_due_at"],
                condition=models.Q(judge_due_at__isnull=False),
                name="series_state_to_judge",
            ),
            models.Index(fields=["method"], name="series_state_by_method"),
            models.Index(fields=["club", "rules_stamp"], name="series_state_by_rules"),
        ]

    def __str__(self) -> str:
        return self.get_finish_class_display()


class SeriesPoint(SeriesRow):
    """Rolling figures as they stood after one attempt. NULL means not enough to say."""

    attempt = models.ForeignKey(
        Attempt, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    started_at = models.DateTimeField()
    plan_revision = models.PositiveIntegerField(null=True)
    n = models.PositiveIntegerField(help_text="Attempts in the window.")
    n_measured = models.PositiveIntegerField(help_text="Of these, with a measured toe.")
    n_no_jumps = models.PositiveIntegerField()
    n_on_board = models.PositiveIntegerField()
    toe_m = models.FloatField(null=True)
    no_jump = models.BooleanField()
    bias_m = models.FloatField(null=True)
    bias_low_m = models.FloatField(null=True)
    bias_high_m = models.FloatField(null=True)
    spread_m = models.FloatField(null=True)
    spread_low_m = models.FloatField(null=True)
    spread_high_m = models.FloatField(null=True)
    share_on_board = models.FloatField(null=True)
    share_no_jump = models.FloatField(null=True)
    # Speed into the board, and the rhythm of the last three steps.
    n_speeds = models.PositiveIntegerField(
        default=0, db_default=0, help_text="Attempts in the window with speeds in both zones."
    )
    n_speeds_at_gates = models.PositiveIntegerField(
        default=0, db_default=0, help_text="Of these, with gates at the ends of the zones."
    )
    speed_11_6_mps = models.FloatField(null=True)
    speed_6_1_mps = models.FloatField(null=True)
    speed_6_1_low_mps = models.FloatField(null=True)
    speed_6_1_high_mps = models.FloatField(null=True)
    speed_gain_mps = models.FloatField(null=True)
    speed_gain_low_mps = models.FloatField(null=True)
    speed_gain_high_mps = models.FloatField(null=True)
    n_step_lengths = models.PositiveIntegerField(
        default=0, db_default=0, help_text="With the lengths of the last three steps."
    )
    length_ratio_2 = models.FloatField(null=True)
    length_ratio_2_low = models.FloatField(null=True)
    length_ratio_2_high = models.FloatField(null=True)
    length_ratio_2_sd = models.FloatField(null=True)
    length_ratio_1 = models.FloatField(null=True)
    length_ratio_1_low = models.FloatField(null=True)
    length_ratio_1_high = models.FloatField(null=True)
    length_ratio_1_sd = models.FloatField(null=True)
    n_step_times = models.PositiveIntegerField(
        default=0, db_default=0, help_text="With the times of the last three steps."
    )
    time_ratio_2 = models.FloatField(null=True)
    time_ratio_2_low = models.FloatField(null=True)
    time_ratio_2_high = models.FloatField(null=True)
    time_ratio_1 = models.FloatField(null=True)
    time_ratio_1_low = models.FloatField(null=True)
    time_ratio_1_high = models.FloatField(null=True)

    class Meta:
        constraints = [
            SameClub("approach", name="series_point_approach_same_club"),
            SameClub("attempt", name="series_point_attempt_same_club"),
            # Of a series: an attempt that a correction moves to another series has, for a moment,
            # a point in both, and neither refresh waits for the other.
            models.UniqueConstraint(
                fields=["club", "attempt", "approach", "finish_class"], name="series_point_once"
            ),
        ]
        indexes = [
            models.Index(
                fields=["club", "approach", "finish_class", "started_at", "attempt"],
                name="series_point_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.started_at:%Y-%m-%d %H:%M}"


class SessionPoint(SeriesRow):
    """What the charts say after one finished session of one plan revision."""

    session = models.ForeignKey(
        Session, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    plan = models.ForeignKey(
        Plan,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    first_started_at = models.DateTimeField()
    last_started_at = models.DateTimeField()
    last_attempt = models.ForeignKey(
        Attempt, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    figures = models.JSONField(help_text="What was measured in the session, and the chart points.")
    chart_state = models.JSONField(help_text="What the next session point starts from.")

    class Meta:
        constraints = [
            SameClub("approach", name="session_point_approach_same_club"),
            SameClub("session", name="session_point_session_same_club"),
            SameClub("plan", name="session_point_plan_same_club"),
            SameClub("last_attempt", name="session_point_attempt_same_club"),
            models.UniqueConstraint(
                fields=["club", "approach", "finish_class", "session", "plan"],
                nulls_distinct=False,
                name="session_point_once",
            ),
        ]
        indexes = [
            models.Index(
                fields=["club", "approach", "finish_class", "first_started_at"],
                name="session_point_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.first_started_at:%Y-%m-%d}"


class AlertKind(models.TextChoices):
    LEVEL = "level", "Level at the board"
    SPREAD = "spread", "Spread at the board"
    NO_JUMP_SHARE = "no_jump_share", "Share of no jumps"
    PROGRESS = "progress", "Spread lower than before"


class AlertRule(KeptRow):
    """A club's own thresholds for one kind of alert; without one the defaults hold."""

    kind = models.CharField(max_length=16, choices=AlertKind.choices)
    is_active = models.BooleanField(default=True)
    thresholds = models.JSONField(default=dict, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["club", "kind"], name="alert_rule_once"),
            models.CheckConstraint(
                condition=models.Q(kind__in=AlertKind.values), name="alert_rule_kind_known"
            ),
        ]

    def __str__(self) -> str:
        return self.get_kind_display()


class Alert(SeriesRow, KeptRow):
    """Something about a series that a coach should see, with its evidence."""

    kind = models.CharField(max_length=16, choices=AlertKind.choices)
    plan = models.ForeignKey(
        Plan,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    opened_at_attempt = models.ForeignKey(
        Attempt, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    opened_at = models.DateTimeField(help_text="When the attempt that opened it was made.")
    evidence = models.JSONField()
    closed_at = models.DateTimeField(null=True)
    closed_because = models.CharField(max_length=20, blank=True)
    acknowledged_at = models.DateTimeField(null=True)
    acknowledged_by = models.ForeignKey(
        Membership,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    put_off_until_date = models.DateField(null=True, help_text="The day on which it is back.")
    put_off_reason = models.CharField(max_length=400, blank=True)
    put_off_at = models.DateTimeField(null=True)
    put_off_by = models.ForeignKey(
        Membership,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints = [
            SameClub("approach", name="alert_approach_same_club"),
            SameClub("plan", name="alert_plan_same_club"),
            SameClub("opened_at_attempt", name="alert_attempt_same_club"),
            SameClub("acknowledged_by", name="alert_acknowledged_by_same_club"),
            SameClub("put_off_by", name="alert_put_off_by_same_club"),
            # Who put an alert off wants to see it again: whoever did one has not done the other.
            models.CheckConstraint(
                condition=models.Q(acknowledged_at__isnull=True)
                | models.Q(put_off_until_date__isnull=True),
                name="alert_acknowledged_or_put_off",
            ),
            models.UniqueConstraint(
                fields=["club", "kind", "approach", "finish_class", "opened_at_attempt"],
                name="alert_once_per_point",
            ),
        ]
        indexes = [
            models.Index(fields=["club", "-opened_at", "id"], name="alert_latest"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.opened_at:%Y-%m-%d}"


class AdviceKind(models.TextChoices):
    MARK = "mark", "Start mark"
    PRACTICE = "practice", "Practice"
    LENGTH = "length", "Number of steps"


class AdviceDecision(models.TextChoices):
    FOLLOWED = "followed", "Followed"
    DECLINED = "declined", "Declined"


class Advice(SeriesRow):
    """What was advised, as it was told, and what a coach then did. Append-only."""

    kind = models.CharField(max_length=12, choices=AdviceKind.choices)
    answer = models.CharField(max_length=16, help_text="What was advised, in one word.")
    figures = models.JSONField(help_text="The numbers as they were given.")
    told = models.JSONField(help_text="Text and reasons as they were told.")
    n = models.PositiveIntegerField(help_text="Attempts that it was worked out from.")
    first_started_at = models.DateTimeField(help_text="Start of the first of them.")
    through_attempt = models.ForeignKey(
        Attempt, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    through_started_at = models.DateTimeField()
    as_of = models.DateTimeField(help_text="When the newest of them was stored or corrected.")
    method = models.PositiveSmallIntegerField(help_text="Version of the formulas.")
    plan = models.ForeignKey(
        Plan,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_constraint=False,
        db_index=False,
        help_text="The revision that was in force.",
    )
    decision = models.CharField(max_length=8, choices=AdviceDecision.choices)
    reason = models.CharField(max_length=200, blank=True)
    decided_at = models.DateTimeField()
    decided_by = models.ForeignKey(
        Membership,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    published_plan = models.ForeignKey(
        Plan,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_constraint=False,
        db_index=False,
        help_text="The revision that was made from it.",
    )

    class Meta:
        verbose_name_plural = "advice"
        constraints = [
            SameClub("approach", name="advice_approach_same_club"),
            SameClub("through_attempt", name="advice_attempt_same_club"),
            SameClub("plan", name="advice_plan_same_club"),
            SameClub("decided_by", name="advice_decided_by_same_club"),
            SameClub("published_plan", name="advice_published_plan_same_club"),
            models.CheckConstraint(
                condition=models.Q(kind__in=AdviceKind.values), name="advice_kind_known"
            ),
            models.CheckConstraint(
                condition=models.Q(decision__in=AdviceDecision.values),
                name="advice_decision_known",
            ),
            models.CheckConstraint(
                condition=models.Q(decision="followed") | models.Q(published_plan__isnull=True),
                name="advice_published_is_followed",
            ),
            # A coach may disagree, and says why.
            models.CheckConstraint(
                condition=models.Q(decision="followed") | ~models.Q(reason=""),
                name="advice_declined_with_reason",
            ),
        ]
        indexes = [
            models.Index(fields=["club", "approach", "-decided_at", "-id"], name="advice_latest"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.decided_at:%Y-%m-%d}"

    @property
    def version(self) -> int:
        """Return what its ETag begins with: what was recorded never changes."""
        return 1
