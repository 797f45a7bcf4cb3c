"""Athletes, and the least that the job needs to know of them."""

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateRangeField, RangeOperators
from django.db import models
from django.db.models.functions import Coalesce, Now

from clubs.models import KeptRow, Membership, Squad, User
from common.constraints import SameClub


class Foot(models.TextChoices):
    LEFT = "left", "Left"
    RIGHT = "right", "Right"


class Athlete(KeptRow):
    """A jumper of the club."""

    code = models.CharField(max_length=32, help_text='The club\'s own short code, such as "A-17".')
    given_name = models.CharField(max_length=80)
    family_name = models.CharField(max_length=80)
    birth_date = models.DateField()
    take_off_foot = models.CharField(max_length=5, choices=Foot.choices, null=True, blank=True)
    shoe_length_m = models.FloatField(null=True, blank=True)
    user = models.ForeignKey(
        User, on_delete=models.PROTECT, null=True, blank=True, related_name="athletes"
    )
    archived_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["club", "code"], name="athlete_code_once"),
            models.UniqueConstraint(
                fields=["club", "user"],
                condition=models.Q(user__isnull=False),
                name="athlete_once_per_user",
            ),
            models.CheckConstraint(condition=~models.Q(code=""), name="athlete_has_code"),
            models.CheckConstraint(
                condition=models.Q(shoe_length_m__isnull=True)
                | models.Q(shoe_length_m__gt=0.1, shoe_length_m__lt=0.5),
                name="athlete_shoe_length_plausible",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.given_name} {self.family_name} ({self.code})"


class BodyMeasurement(KeptRow):
    """Height and leg length on one day, from which growth is seen."""

    athlete = models.ForeignKey(
        Athlete,
        on_delete=models.PROTECT,
        related_name="measurements",
        db_constraint=False,
        db_index=False,
    )
    measured_date = models.DateField()
    height_m = models.FloatField()
    leg_length_m = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [
            SameClub("athlete", name="measurement_athlete_same_club"),
            models.UniqueConstraint(
                fields=["club", "athlete", "measured_date"], name="measurement_once_a_day"
            ),
            models.CheckConstraint(
                condition=models.Q(height_m__gt=0.8, height_m__lt=2.6),
                name="measurement_height_plausible",
            ),
            models.CheckConstraint(
                condition=models.Q(leg_length_m__isnull=True)
                | models.Q(leg_length_m__gt=0.3, leg_length_m__lt=models.F("height_m")),
                name="measurement_leg_plausible",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.measured_date}: {self.height_m:.2f} m"


class Consent(KeptRow):
    """What an athlete or a guardian agreed to, in which words, and until when."""

    class Purpose(models.TextChoices):
        TRAINING_RECORDS = "training_records", "Training records"
        SHARING_WITH_COACHES = "sharing_with_coaches", "Sharing with coaches"
        RESEARCH = "research", "Research"

    class GivenBy(models.TextChoices):
        ATHLETE = "athlete", "The athlete"
        GUARDIAN = "guardian", "A guardian"

    athlete = models.ForeignKey(
        Athlete,
        on_delete=models.PROTECT,
        related_name="consents",
        db_constraint=False,
        db_index=False,
    )
    purpose = models.CharField(max_length=24, choices=Purpose.choices)
    given_by = models.CharField(max_length=8, choices=GivenBy.choices)
    text_version = models.CharField(max_length=20)
    from_date = models.DateField()
    withdrawn_date = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            SameClub("athlete", name="consent_athlete_same_club"),
            models.UniqueConstraint(
                fields=["club", "athlete", "purpose", "from_date"], name="consent_once_a_day"
            ),
            models.CheckConstraint(
                condition=models.Q(withdrawn_date__isnull=True)
                | models.Q(withdrawn_date__gte=models.F("from_date")),
                name="consent_ends_after_start",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} from {self.from_date}"


def days_in_force() -> models.Func:
    """Return the days from `from_date` to `until_date`, both included; without an end, for ever."""
    bounds = (models.F("from_date"), models.F("until_date"), models.Value("[]"))
    return models.Func(*bounds, function="daterange", output_field=DateRangeField())


class SquadMember(KeptRow):
    """An athlete's time in a squad."""

    squad = models.ForeignKey(
        Squad, on_delete=models.PROTECT, related_name="members", db_constraint=False, db_index=False
    )
    athlete = models.ForeignKey(
        Athlete,
        on_delete=models.PROTECT,
        related_name="squad_times",
        db_constraint=False,
        db_index=False,
    )
    from_date = models.DateField()
    until_date = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            SameClub("squad", name="squad_member_squad_same_club"),
            SameClub("athlete", name="squad_member_athlete_same_club"),
            models.UniqueConstraint(
                fields=["club", "squad", "athlete"],
                condition=models.Q(until_date__isnull=True),
                name="squad_member_open_once",
            ),
            models.CheckConstraint(
                condition=models.Q(until_date__isnull=True)
                | models.Q(until_date__gte=models.F("from_date")),
                name="squad_member_ends_after_start",
            ),
            # Who ends one time must not leave another one in force.
            ExclusionConstraint(
                name="squad_member_once_a_day",
                expressions=[
                    ("club", RangeOperators.EQUAL),
                    ("squad", RangeOperators.EQUAL),
                    ("athlete", RangeOperators.EQUAL),
                    (days_in_force(), RangeOperators.OVERLAPS),
                ],
            ),
        ]
        indexes = [models.Index(fields=["club", "athlete"], name="squad_member_of_athlete")]

    def __str__(self) -> str:
        return f"from {self.from_date}"


class CoachAssignment(KeptRow):
    """A coach's charge: one athlete, or a whole squad."""

    coach = models.ForeignKey(
        Membership,
        on_delete=models.PROTECT,
        related_name="assignments",
        db_constraint=False,
        db_index=False,
    )
    squad = models.ForeignKey(
        Squad,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="assignments",
        db_constraint=False,
        db_index=False,
    )
    athlete = models.ForeignKey(
        Athlete,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="assignments",
        db_constraint=False,
        db_index=False,
    )
    from_date = models.DateField()
    until_date = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            SameClub("coach", name="assignment_coach_same_club"),
            SameClub("squad", name="assignment_squad_same_club"),
            SameClub("athlete", name="assignment_athlete_same_club"),
            models.CheckConstraint(
                condition=models.Q(squad__isnull=False, athlete__isnull=True)
                | models.Q(squad__isnull=True, athlete__isnull=False),
                name="assignment_squad_or_athlete",
            ),
            models.CheckConstraint(
                condition=models.Q(until_date__isnull=True)
                | models.Q(until_date__gte=models.F("from_date")),
                name="assignment_ends_after_start",
            ),
            # The same: a coach would go on seeing whom somebody believes to have taken away.
            ExclusionConstraint(
                name="assignment_once_a_day",
                expressions=[
                    ("club", RangeOperators.EQUAL),
                    ("coach", RangeOperators.EQUAL),
                    (Coalesce("squad", "athlete"), RangeOperators.EQUAL),
                    (days_in_force(), RangeOperators.OVERLAPS),
                ],
            ),
        ]
        indexes = [models.Index(fields=["club", "coach"], name="assignment_of_coach")]

    def __str__(self) -> str:
        return f"from {self.from_date}"


class SprintTest(KeptRow):
    """Split times of one sprint, from which the speed curve is fitted."""

    class Start(models.TextChoices):
        BLOCK = "block", "Block start"
        STANDING = "standing", "Standing start"
        FLYING = "flying", "Flying start"

    athlete = models.ForeignKey(
        Athlete,
        on_delete=models.PROTECT,
        related_name="sprint_tests",
        db_constraint=False,
        db_index=False,
    )
    tested_date = models.DateField()
    start = models.CharField(max_length=8, choices=Start.choices)
    splits = models.JSONField(help_text="[{at_m, time_s}], both growing.")

    class Meta:
        constraints = [
            SameClub("athlete", name="sprint_test_athlete_same_club"),
        ]
        indexes = [models.Index(fields=["club", "athlete", "tested_date"], name="sprint_test_day")]

    def __str__(self) -> str:
        return f"Sprint {self.tested_date}"
