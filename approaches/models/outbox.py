"""What must be computed again."""

from django.db import models
from django.db.models.functions import Now

from approaches.models.attempts import FinishClass
from approaches.models.plans import Approach
from clubs.models import ClubRow
from common.constraints import SameClub


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
