"""Find series that wait, and make whole clubs anew."""

import time
from collections.abc import Callable
from uuid import UUID

from django.db import connection

from analytics import selectors
from analytics.services import refreshing
from analytics.services.method import METHOD
from clubs import selectors as club_selectors
from clubs.selectors import find_club_id
from common import broker
from common.club_scope import club_scope
from common.errors import NotFoundError

# So many series a round, or as many as fit into its time; the next round takes the rest. In between
# come the series that somebody has just pushed for, and a worker that shall stop.
AT_MOST = 500
LONGEST_ROUND_S = 10.0

Progress = Callable[[int, int], None]


def list_due_series(*, at_most: int = AT_MOST) -> list[tuple[UUID, UUID, str]]:
    """Return club, approach and finish class of series that wait to be computed or judged."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT club_id, approach_id, finish_class FROM penult_due_series(%s, %s)",
            [at_most, METHOD],
        )
        return list(cursor.fetchall())


def sweep_refreshes() -> int:
    """Refresh series that are due, whoever forgot to ask for it; return how many.

    Series with new attempts come first, those whose rules changed last.
    """
    broker.note_sweep()
    begun, done = time.monotonic(), 0
    for club_id, approach_id, finish_class in list_due_series():
        if time.monotonic() - begun > LONGEST_ROUND_S:
            break
        refreshing.refresh_series(
            club_id=club_id, approach_id=approach_id, finish_class=finish_class
        )
        done += 1
    return done


def rebuild_figures(
    *, club: str | None = None, progress: Progress = lambda _done, _all: None
) -> int:
    """Make the figures of one club, or of all, anew from the attempts; return how many series.

    Raises
    ------
    NotFoundError
        There is no club with this short name.
    """
    if club is None:
        club_ids = club_selectors.list_club_ids()
    else:
        club_id = find_club_id(club)
        if club_id is None:
            raise NotFoundError(f"There is no club {club}.")
        club_ids = [club_id]
    work = []
    for club_id in club_ids:
        with club_scope(club_id, read_only=True):
            work += [(club_id, series) for series in selectors.list_series()]
    for done, (club_id, series) in enumerate(work, 1):
        refreshing.refresh_series(
            club_id=club_id,
            approach_id=series.approach_id,
            finish_class=series.finish_class.value,
            whole=True,
        )
        progress(done, len(work))
    return len(work)
