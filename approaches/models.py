"""Run-ups, their plans, and what was measured of each attempt."""

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models.functions import Now

from athletes.models import Athlete
from clubs.models import ClubRow, Event, KeptRow, Membership, Runway, Source
from common.constraints import SameClub


class StartStyle(models.TextChoices):
    STANDING = "standing", "Standing"
    WALK_IN = "walk_in", "Walk-in"
    RUN_IN = "run_in", "Run-in"


class Approach(KeptRow):
    """A run-up of one athlete: an event, a number of steps, a way to start."""

    athlete = models.ForeignKey(
        Athlete,
        on_delete=models.PROTECT,
        related_name="approaches",
        db_constraint=False,
        db_index=False,
    )
    code = models.CharField(max_length=32, help_text='Unique for the athlete, such as "LJ-16".')
    event = models.CharField(max_length=12, choices=Event.choices)
    steps = models.PositiveSmallIntegerField(help_text="From the start mark to take-off.")
    start_style = models.CharField(max_length=8, choices=StartStyle.choices)
    archived_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        verbose_name_plural = "approaches"
        constraints = [
            SameClub("athlete", name="approach_athlete_same_club"),
            models.UniqueConstraint(fields=["club", "athlete", "code"], name="approach_code_once"),
            # What attempts point at, so that an attempt's athlete is its approach's.
            models.UniqueConstraint(fields=["club", "id", "athlete"], name="approach_of_athlete"),
            models.CheckConstraint(
                condition=models.Q(steps__gte=2, steps__lte=30), name="approach_steps_plausible"
            ),
            models.CheckConstraint(
                condition=models.Q(event__in=Event.values), name="approach_event_known"
            ),
            models.CheckConstraint(
                condition=models.Q(start_style__in=StartStyle.values),
                name="approach_start_style_known",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Plan(ClubRow):
    """One revision of an approach's marks. Append-only: a change is a new revision."""

    approach = models.ForeignKey(
        Approach,
        on_delete=models.PROTECT,
        related_name="plans",
        db_constraint=False,
        db_index=False,
    )
    revision = models.PositiveIntegerField()
    valid_from = models.DateTimeField()
    start_mark_m = models.FloatField()
    aim_m = models.FloatField(default=0.06, help_text="Toe-to-board distance that the plan wants.")
    check_marks = models.JSONField(default=list, blank=True, help_text="[{footfall, at_m}]")
    transition_footfall = models.PositiveSmallIntegerField(null=True, blank=True)
    attack_footfall = models.PositiveSmallIntegerField(null=True, blank=True)
    toe_m = ArrayField(
        models.FloatField(), default=list, blank=True, help_text="Planned footfalls n to 0."
    )
    last_contacts = ArrayField(
        models.CharField(max_length=4), default=list, blank=True, help_text="Third-last to last."
    )
    reason = models.CharField(max_length=400, blank=True)
    author = models.ForeignKey(
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
            SameClub("approach", name="plan_approach_same_club"),
            SameClub("author", name="plan_author_same_club"),
            models.UniqueConstraint(
                fields=["club", "approach", "revision"], name="plan_revision_once"
            ),
            models.UniqueConstraint(
                fields=["club", "approach", "valid_from"], name="plan_one_from_a_moment"
            ),
            models.UniqueConstraint(fields=["club", "id", "approach"], name="plan_of_approach"),
            models.CheckConstraint(
                condition=models.Q(start_mark_m__gt=2, start_mark_m__lt=80),
                name="plan_start_mark_plausible",
            ),
            models.CheckConstraint(
                condition=models.Q(aim_m__gte=0, aim_m__lte=0.5), name="plan_aim_plausible"
            ),
            models.CheckConstraint(
                condition=models.Q(transition_footfall__isnull=True)
                | models.Q(attack_footfall__isnull=True)
                | models.Q(transition_footfall__gt=models.F("attack_footfall")),
                name="plan_phases_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"revision {self.revision}"


class SessionKind(models.TextChoices):
    TRAINING = "training", "Training"
    TESTING = "testing", "Testing"
    COMPETITION = "competition", "Competition"


class Session(KeptRow):
    """A training, testing or competition day, with its conditions."""

    code = models.CharField(max_length=40, help_text='Unique in the club, such as "2026-05-02-am".')
    held_date = models.DateField()
    kind = models.CharField(max_length=12, choices=SessionKind.choices)
    runway = models.ForeignKey(
        Runway,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="sessions",
        db_constraint=False,
        db_index=False,
    )
    weather = models.CharField(max_length=200, blank=True)
    field_size = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Athletes in the competition."
    )
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints = [
            SameClub("runway", name="session_runway_same_club"),
            models.UniqueConstraint(fields=["club", "code"], name="session_code_once"),
            models.CheckConstraint(
                condition=models.Q(kind__in=SessionKind.values), name="session_kind_known"
            ),
            models.CheckConstraint(
                condition=models.Q(field_size__isnull=True) | models.Q(field_size__gt=0),
                name="session_field_size_positive",
            ),
        ]
        indexes = [models.Index(fields=["club", "held_date", "id"], name="session_by_day")]

    def __str__(self) -> str:
        return self.code


class Finish(models.TextChoices):
    RUN_THROUGH = "run_through", "Run-through"
    POP_UP = "pop_up", "Pop-up"
    JUMP = "jump", "Jump"


class FinishClass(models.TextChoices):
    """Attempts that may be compared: steering differs between jumps and run-throughs."""

    JUMP = "jump", "Jumps and pop-ups"
    RUN_THROUGH = "run_through", "Run-throughs"


FINISHES_OF_CLASS = {
    FinishClass.JUMP: (Finish.JUMP, Finish.POP_UP),
    FinishClass.RUN_THROUGH: (Finish.RUN_THROUGH,),
}
CLASS_OF_FINISH = {
    finish: finish_class
    for finish_class, finishes in FINISHES_OF_CLASS.items()
    for finish in finishes
}


class Outcome(models.TextChoices):
    VALID = "valid", "Valid"
    NO_JUMP = "no_jump", "No jump"
    BAULK = "baulk", "Baulk"
    NOT_JUDGED = "not_judged", "Not judged"


class Phase(models.TextChoices):
    ACCELERATION = "acceleration", "Acceleration"
    TRANSITION = "transition", "Transition"
    ATTACK = "attack", "Attack"


class Contact(models.TextChoices):
    BALL = "ball", "Ball"
    FLAT = "flat", "Flat"
    HEEL = "heel", "Heel"


class LeftOut(models.TextChoices):
    """Why an attempt is counted but kept out of its series."""

    BAULK = "baulk", "Baulk"
    WRONG_FOOT = "wrong_foot", "Wrong take-off foot"
    WRONG_STEP_COUNT = "wrong_step_count", "Wrong number of steps"
    PARTIAL = "partial", "Part of the run-up only"


class Attempt(KeptRow):
    """One measured run-up.

    The arrays start at the take-off footfall and go back; NaN stands for "not measured", since
    arrays of fixed-size values are several times faster to write and read than arrays with nulls.
    """

    source = models.ForeignKey(
        Source, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    external_id = models.CharField(max_length=64, help_text="Id that the source gave it.")
    athlete = models.ForeignKey(
        Athlete, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    approach = models.ForeignKey(
        Approach, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    plan = models.ForeignKey(
        Plan,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_constraint=False,
        db_index=False,
        help_text="The revision that was valid at the start of the attempt.",
    )
    session = models.ForeignKey(
        Session, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    started_at = models.DateTimeField()
    finish = models.CharField(max_length=12, choices=Finish.choices)
    phases = ArrayField(models.CharField(max_length=12))
    start_mark_m = models.FloatField(null=True, help_text="The start mark that was used.")
    wind_mps = models.FloatField(null=True, help_text="Along the runway, tail wind positive.")
    outcome = models.CharField(max_length=10, choices=Outcome.choices)
    take_off_foot_ok = models.BooleanField(null=True)
    official_m = models.DecimalField(max_digits=4, decimal_places=2, null=True)
    toe_m = ArrayField(models.FloatField())
    touchdown_s = ArrayField(models.FloatField())
    toe_off_s = ArrayField(models.FloatField())
    contact = ArrayField(models.CharField(max_length=4, null=True))
    gate_at_m = ArrayField(models.FloatField())
    gate_time_s = ArrayField(models.FloatField())
    left_out = models.CharField(max_length=16, choices=LeftOut.choices, null=True)
    fingerprint = models.BinaryField(max_length=17, help_text="Version byte, then the hash.")
    voided_at = models.DateTimeField(null=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints = [
            # A gate that sends the same attempt twice must not make two.
            models.UniqueConstraint(
                fields=["club", "source", "external_id"], name="attempt_once_per_source"
            ),
            SameClub("source", name="attempt_source_same_club"),
            SameClub("approach", name="attempt_approach_same_athlete", also=["athlete"]),
            SameClub("plan", name="attempt_plan_same_approach", also=["approach"]),
            SameClub("session", name="attempt_session_same_club"),
            models.CheckConstraint(
                condition=models.Q(finish__in=Finish.values), name="attempt_finish_known"
            ),
            models.CheckConstraint(
                condition=models.Q(outcome__in=Outcome.values), name="attempt_outcome_known"
            ),
            models.CheckConstraint(
                condition=models.Q(official_m__isnull=True)
                | models.Q(official_m__gte=0, outcome=Outcome.VALID),
                name="attempt_official_only_valid",
            ),
        ]
        indexes = [
            models.Index(fields=["club", "approach", "started_at", "id"], name="attempt_in_order"),
            models.Index(fields=["club", "session", "started_at", "id"], name="attempt_by_session"),
            models.Index(fields=["club", "started_at", "id"], name="attempt_of_club"),
        ]

    def __str__(self) -> str:
        return self.external_id


class AttemptVersion(ClubRow):
    """What an attempt was before a correction or void."""

    attempt = models.ForeignKey(
        Attempt,
        on_delete=models.PROTECT,
        related_name="versions",
        db_constraint=False,
        db_index=False,
    )
    version = models.PositiveIntegerField()
    former = models.JSONField(help_text="The fields as they were.")
    replaced_at = models.DateTimeField(db_default=Now())
    replaced_by = models.UUIDField(help_text="Token or membership.")
    reason = models.CharField(max_length=400)

    class Meta:
        constraints = [
            SameClub("attempt", name="attempt_version_same_club"),
            models.UniqueConstraint(
                fields=["club", "attempt", "version"], name="attempt_version_once"
            ),
        ]

    def __str__(self) -> str:
        return f"version {self.version}"


class GateRun(ClubRow):
    """Times of one run through timing gates, as sent."""

    source = models.ForeignKey(
        Source, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    external_id = models.CharField(max_length=64)
    athlete = models.ForeignKey(
        Athlete,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    started_at = models.DateTimeField()
    raw = models.JSONField()
    attempt = models.ForeignKey(
        Attempt,
        on_delete=models.PROTECT,
        null=True,
        related_name="gate_runs",
        db_constraint=False,
        db_index=False,
    )
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints = [
            SameClub("source", name="gate_run_source_same_club"),
            SameClub("athlete", name="gate_run_athlete_same_club"),
            SameClub("attempt", name="gate_run_attempt_same_club"),
            models.UniqueConstraint(
                fields=["club", "source", "external_id"], name="gate_run_once_per_source"
            ),
        ]
        indexes = [models.Index(fields=["club", "attempt"], name="gate_run_of_attempt")]

    def __str__(self) -> str:
        return self.external_id


class QuarantinedRow(ClubRow):
    """A row that was refused, kept raw for 30 days so that it can be mended and replayed."""

    source = models.ForeignKey(
        Source, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    external_id = models.CharField(max_length=64, blank=True)
    raw = models.TextField(help_text="The row as it was sent.")
    raw_hash = models.BinaryField(max_length=16)
    code = models.CharField(max_length=40)
    pointer = models.CharField(max_length=200, blank=True)
    detail = models.CharField(max_length=400)
    received_at = models.DateTimeField(db_default=Now())
    expires_at = models.DateTimeField()
    replayed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            SameClub("source", name="quarantine_source_same_club"),
            # The same bad row sent again is the same problem, not a second one.
            models.UniqueConstraint(
                fields=["club", "source", "raw_hash"], name="quarantine_once_per_row"
            ),
        ]
        indexes = [
            models.Index(fields=["club", "received_at", "id"], name="quarantine_latest"),
            models.Index(fields=["expires_at"], name="quarantine_expiry"),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.external_id}".strip()


class PendingRefresh(ClubRow):
    """The outbox: a series whose figures must be computed again, from which attempt on."""

    approach = models.ForeignKey(
        Approach, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    finish_class = models.CharField(max_length=12, choices=FinishClass.choices)
    first_changed_at = models.DateTimeField(help_text="Start of the first attempt that changed.")
    revision = models.BigIntegerField(default=1)
    waiting_since = models.DateTimeField(db_default=Now())
    failures = models.PositiveIntegerField(default=0)
    last_error = models.CharField(max_length=200, blank=True)
    next_try_at = models.DateTimeField(db_default=Now())

    class Meta:
        verbose_name_plural = "pending refreshes"
        constraints = [
            SameClub("approach", name="pending_approach_same_club"),
            models.UniqueConstraint(
                fields=["club", "approach", "finish_class"], name="pending_once_per_series"
            ),
            models.CheckConstraint(
                condition=models.Q(finish_class__in=FinishClass.values),
                name="pending_finish_class_known",
            ),
        ]
        indexes = [models.Index(fields=["next_try_at"], name="pending_due")]

    def __str__(self) -> str:
        return self.get_finish_class_display()
