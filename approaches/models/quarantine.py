"""Rows that were refused."""

from django.db import models
from django.db.models.functions import Now

from clubs.models import ClubRow, Source
from common.constraints import SameClub


class RowKind(models.TextChoices):
    """At which door a row was refused."""

    ATTEMPT = "attempt", "Attempt"
    GATE_RUN = "gate_run", "Gate run"


class QuarantinedRow(ClubRow):
    """A row that was refused, kept raw for 30 days so that it can be mended and replayed."""

    source = models.ForeignKey(
        Source, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    kind = models.CharField(
        max_length=8, choices=RowKind.choices, default=RowKind.ATTEMPT, db_default=RowKind.ATTEMPT
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
