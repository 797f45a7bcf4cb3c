"""How many series wait, over all clubs, and for how long: numbers only."""

from dataclasses import dataclass
from datetime import datetime

from django.db import connection

# Figures follow a push within about a second; so late, something is wrong.
LATE_S = 30.0


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
