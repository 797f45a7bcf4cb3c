"""How many series and questions wait, over all clubs, and for how long: numbers only."""

from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import connection

from analytics import selectors
from analytics.selectors import WorkBacklog

# Figures follow a push within about a second; so late, something is wrong.
LATE_S = 30.0
# A question may take a minute or two, and others wait behind it.
WORK_LATE_S = 120.0


@dataclass(frozen=True, slots=True)
class Backlog:
    """Series that wait to be computed; the poisoned ones raised and were put off."""

    waiting: int
    poisoned: int
    oldest_s: float


def read_backlog(*, now: datetime) -> Backlog:
    """Return what waits at present."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT waiting, poisoned, oldest FROM penult_refresh_backlog()")
        waiting, poisoned, oldest = cursor.fetchone()
    oldest_s = 0.0 if oldest is None else max(0.0, (now - oldest).total_seconds())
    return Backlog(waiting=waiting, poisoned=poisoned, oldest_s=oldest_s)


def find_complaint(*, now: datetime) -> str | None:
    """Return what is wrong with the backlog in one sentence, or None."""
    backlog = read_backlog(now=now)
    if backlog.oldest_s > LATE_S:
        return f"{backlog.waiting} series wait, the oldest for {backlog.oldest_s:.0f} s."
    if backlog.poisoned:
        return f"{backlog.poisoned} series could not be computed and were put off."
    return None


def read_work_backlog() -> WorkBacklog:
    """Return how much of what was asked for waits and runs at present."""
    return selectors.read_work_backlog(lease_s=settings.WORK_LEASE_SECONDS)


def find_work_complaint(*, now: datetime) -> str | None:
    """Return what is wrong with the work that waits in one sentence, or None."""
    backlog = read_work_backlog()
    if backlog.oldest_at is None or backlog.running:
        return None  # what waits behind something that goes on will have its turn
    waited_s = (now - backlog.oldest_at).total_seconds()
    if waited_s <= WORK_LATE_S:
        return None
    return f"{backlog.waiting} questions wait for a worker, the oldest for {waited_s:.0f} s."
