"""Questions about what was asked for and takes longer: who may read it, and what is due."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple
from uuid import UUID

from django.db import connection
from django.db.models import Q, QuerySet
from django.db.models.expressions import RawSQL

from analytics.models import AskedWork, WorkState
from athletes import selectors as athlete_selectors
from clubs.selectors import Caller
from common.errors import NotFoundError


def list_work_for(caller: Caller, *, today: date, method: int) -> QuerySet[AskedWork]:
    """Return the work that the caller may read: about nobody whom they may not see.

    Answers of another `method` are as good as forgotten: nobody can say them in words any more.
    """
    limits = athlete_selectors.find_limits_of(caller, today=today)
    work = AskedWork.objects.filter(~Q(state=WorkState.DONE) | Q(method=method))
    if limits is None:
        return work
    # The query is one of those in athletes' selectors.
    seen = RawSQL(f"ARRAY({limits.query})", limits.parameters)  # noqa: S611
    return work.filter(athlete_ids__contained_by=seen)


def get_work_for(caller: Caller, work_id: UUID, *, today: date, method: int) -> AskedWork:
    """Return one work that the caller may read.

    Raises
    ------
    NotFoundError
        There is none (any more), or it is about a stranger.
    """
    work = list_work_for(caller, today=today, method=method).filter(id=work_id).first()
    if work is None:
        raise NotFoundError
    return work


class DueWork(NamedTuple):
    club_id: UUID
    work_id: UUID


def list_due_work(*, kinds: Collection[str], lease_s: float, at_most: int) -> list[DueWork]:
    """Return work of every club that waits for a worker, clubs taking turns.

    So does work whose worker was not heard of for the time of the lease.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT club_id, work_id FROM penult_due_work(%s, %s, %s)",
            [lease_s, list(kinds), at_most],
        )
        return [DueWork(*row) for row in cursor.fetchall()]


@dataclass(frozen=True, slots=True)
class WorkBacklog:
    """Work that waits for a worker, work that has one, and since when the oldest has waited."""

    waiting: int
    running: int
    oldest_at: datetime | None


def read_work_backlog(*, lease_s: float) -> WorkBacklog:
    """Return how much work of every club waits and runs at present."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT waiting, running, oldest FROM penult_work_backlog(%s)", [lease_s])
        return WorkBacklog(*cursor.fetchone())
