"""What was asked for and takes longer than a request may: the question, and its answer."""

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models.functions import Now

from clubs.models import ClubRow, Membership
from common.constraints import SameClub


class WorkKind(models.TextChoices):
    WHAT_IF = "what_if", "What if"
    SQUAD_SEASON = "squad_season", "A squad's season"


class WorkState(models.TextChoices):
    WAITING = "waiting", "Waits for its turn"
    RUNNING = "running", "Is being worked out"
    DONE = "done", "Worked out"
    FAILED = "failed", "Failed"


class WorkFailure(models.TextChoices):
    TOOK_TOO_LONG = "took_too_long", "Took too long and was stopped"
    LOST = "lost", "Its worker was lost again and again"
    BROKEN = "broken", "Something of ours broke"


class AskedWork(ClubRow):
    """A question that a worker answers, once for all who ask the same of the same attempts.

    A kind is no choice of the database: during an update an older release meets kinds that it does
    not know, and leaves them to a newer one.
    """

    kind = models.CharField(max_length=24)
    asked = models.JSONField(help_text="The question, with the ids that it is about.")
    # No references: a list cannot have any, and who erases an athlete must find all at once.
    athlete_ids = ArrayField(
        models.UUIDField(), help_text="Whom it is about: who may see all of them may read it."
    )
    same_question = models.BinaryField(
        max_length=32,
        null=True,
        help_text="Equal for equal questions about equal attempts; empty when they changed since.",
    )
    # Who alone asked it; empty when several did.
    asked_by = models.ForeignKey(
        Membership,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    asked_at = models.DateTimeField(db_default=Now())
    state = models.CharField(max_length=8, choices=WorkState.choices, default=WorkState.WAITING)
    taken_up = models.PositiveSmallIntegerField(
        default=0, help_text="How often a worker took it up; each time has its number."
    )
    n_done = models.PositiveIntegerField(default=0)
    n_parts = models.PositiveIntegerField(default=0, help_text="0 until a worker has counted them.")
    started_at = models.DateTimeField(null=True)
    heard_at = models.DateTimeField(null=True, help_text="When its worker last said how far it is.")
    finished_at = models.DateTimeField(null=True)
    forget_at = models.DateTimeField(help_text="When it is deleted, its answer with it.")
    answer = models.JSONField(null=True)
    method = models.PositiveSmallIntegerField(help_text="Version of the formulas.")
    failure = models.CharField(max_length=16, blank=True, choices=WorkFailure.choices)
    last_error = models.CharField(max_length=200, blank=True)

    class Meta:
        verbose_name_plural = "asked work"
        constraints = [
            SameClub("asked_by", name="asked_work_asked_by_same_club"),
            # Who asks what is asked already waits for the same answer.
            models.UniqueConstraint(fields=["club", "same_question"], name="asked_work_once"),
            models.CheckConstraint(
                condition=models.Q(state__in=WorkState.values), name="asked_work_state_known"
            ),
            models.CheckConstraint(
                condition=models.Q(state="done", answer__isnull=False)
                | (~models.Q(state="done") & models.Q(answer__isnull=True)),
                name="asked_work_done_has_answer",
            ),
            models.CheckConstraint(
                condition=(models.Q(state="failed") & ~models.Q(failure=""))
                | (~models.Q(state="failed") & models.Q(failure="")),
                name="asked_work_failed_says_why",
            ),
        ]
        indexes = [
            models.Index(
                fields=["asked_at"],
                condition=models.Q(state__in=["waiting", "running"]),
                name="asked_work_to_do",
            ),
            models.Index(fields=["club", "-asked_at", "-id"], name="asked_work_latest"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.asked_at:%Y-%m-%d %H:%M}"

    @property
    def is_over(self) -> bool:
        return self.state in {WorkState.DONE, WorkState.FAILED}
