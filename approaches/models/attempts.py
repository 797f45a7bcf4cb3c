"""What was measured of each attempt, and what it was before it was corrected."""

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models.functions import Now

from approaches.models.plans import Approach, Plan, Session
from athletes.models import Athlete
from clubs.models import ClubRow, KeptRow, Source
from common.constraints import SameClub


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


class ChangeKind(models.TextChoices):
    """What happened to an attempt."""

    CORRECTED = "corrected", "Corrected"
    VOIDED = "voided", "Voided"
    GATES_FILLED = "gates_filled", "Gates filled from a gate run"
    GATES_REMOVED = "gates_removed", "Gates removed again"


class AttemptVersion(ClubRow):
    """What an attempt was before it was changed, and what happened to it."""

    attempt = models.ForeignKey(
        Attempt,
        on_delete=models.PROTECT,
        related_name="versions",
        db_constraint=False,
        db_index=False,
    )
    version = models.PositiveIntegerField()
    former = models.JSONField(help_text="The fields as they were.")
    kind = models.CharField(
        max_length=16, choices=ChangeKind.choices, db_default=ChangeKind.CORRECTED
    )
    field_names = ArrayField(
        models.CharField(max_length=60), db_default=[], help_text="Which fields became others."
    )
    replaced_at = models.DateTimeField(db_default=Now())
    replaced_by = models.UUIDField(
        help_text="Token or membership; the source, when it pushed without either."
    )
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
