"""Run-ups, their plans, and the days on which they are run."""

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models.functions import Now

from athletes.models import Athlete
from clubs.models import ClubRow, Event, KeptRow, Membership, Runway
from common.constraints import SameClub

# A push names a session by its code or by its id, so a code is none. Those of approaches are
# shorter than any id.
_FORM_OF_AN_ID = r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$"


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
    # No key: what advises stands above what is planned, and names its plan with a key itself.
    advice_id = models.UUIDField(
        null=True, editable=False, help_text="The recorded advice that it was published from."
    )
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
                condition=models.Q(start_mark_m__gte=2, start_mark_m__lte=80),
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

    @property
    def version(self) -> int:
        """Return what its ETag begins with: a revision never changes, so its number says it all."""
        return self.revision


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
            models.CheckConstraint(
                condition=~models.Q(code__iregex=_FORM_OF_AN_ID), name="session_code_is_no_id"
            ),
        ]
        indexes = [models.Index(fields=["club", "held_date", "id"], name="session_by_day")]

    def __str__(self) -> str:
        return self.code
