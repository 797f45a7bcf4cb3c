"""Runs through timing gates."""

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models.functions import Now

from approaches.models.attempts import Attempt
from athletes.models import Athlete
from clubs.models import ClubRow, Source
from common.constraints import SameClub


class MatchedBy(models.TextChoices):
    """How a gate run found its attempt."""

    NAME = "name", "The attempt that it names"
    TIME = "time", "Athlete and time"
    HAND = "hand", "By hand"


class Unmatched(models.TextChoices):
    """Why a gate run has no attempt; besides these, the code of the rule that it would break."""

    WAITING = "waiting", "Its attempt is not there yet"
    AMBIGUOUS = "ambiguous", "More than one attempt fits"
    GATES_FILLED = "gates_filled", "Its attempt has gates already"
    OTHER_ATHLETE = "other_athlete", "The attempt that it names is another athlete's"
    BY_HAND = "by_hand", "Parted from its attempt by hand"


class GateRun(ClubRow):
    """Times of one run through timing gates, as sent."""

    source = models.ForeignKey(
        Source, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    external_id = models.CharField(max_length=64, help_text="Id that the source gave it.")
    athlete = models.ForeignKey(
        Athlete,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    attempt_external_id = models.CharField(
        max_length=64, blank=True, db_default="", help_text="The attempt that it names."
    )
    started_at = models.DateTimeField()
    at_m = ArrayField(models.FloatField(), db_default=[], help_text="In the order passed.")
    time_s = ArrayField(models.FloatField(), db_default=[])
    raw = models.JSONField(help_text="What was sent, as it was read.")
    fingerprint = models.BinaryField(
        max_length=17, db_default=b"", help_text="Version byte, then the hash."
    )
    attempt = models.ForeignKey(
        Attempt,
        on_delete=models.PROTECT,
        null=True,
        related_name="gate_runs",
        db_constraint=False,
        db_index=False,
    )
    matched_by = models.CharField(max_length=4, choices=MatchedBy.choices, null=True)
    matched_at = models.DateTimeField(null=True)
    unmatched_because = models.CharField(
        max_length=40, null=True, db_default=Unmatched.WAITING, help_text="As of the last look."
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
            models.CheckConstraint(
                condition=models.Q(
                    attempt__isnull=True, matched_by__isnull=True, unmatched_because__isnull=False
                )
                | models.Q(
                    attempt__isnull=False, matched_by__isnull=False, unmatched_because__isnull=True
                ),
                name="gate_run_matched_or_says_why_not",
            ),
        ]
        indexes = [
            models.Index(fields=["club", "attempt"], name="gate_run_of_attempt"),
            # What a push looks through: small, because most runs are matched as they come.
            models.Index(
                fields=["club", "started_at"],
                condition=models.Q(attempt__isnull=True),
                name="gate_run_waiting",
            ),
            models.Index(
                fields=["club", "attempt_external_id"],
                condition=models.Q(attempt__isnull=True) & ~models.Q(attempt_external_id=""),
                name="gate_run_waiting_by_name",
            ),
        ]

    def __str__(self) -> str:
        return self.external_id
