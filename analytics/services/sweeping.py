"""Find series that wait, and make whole clubs anew."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from uuid import UUID

from django.db import connection

from analytics import selectors
from analytics.services import refreshing
from analytics.services.method import METHOD
from approaches.models import Approach
from clubs import selectors as club_selectors
from clubs.selectors import find_club_id
from common import broker
from common.club_scope import club_scope
from common.errors import InvalidInputError, NotFoundError

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

    Series with new attempts come first, those whose rules changed last. Rounds of several workers
    run beside each other: what another one is at is passed over, or each would wait for the next
    series of all, and together they were no faster than one.
    """
    broker.note_sweep()
    begun, done = time.monotonic(), 0
    for club_id, approach_id, finish_class in list_due_series():
        if time.monotonic() - begun > LONGEST_ROUND_S:
            break
        refreshing.refresh_series(
            club_id=club_id,
            approach_id=approach_id,
            finish_class=finish_class,
            longest_wait_s=refreshing.NO_WAIT_S,
        )
        done += 1
    return done


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """How many series were made anew, and how many could not be: the log says why."""

    made: int
    failed: int


def rebuild_figures(
    *,
    club: str | None = None,
    approach: str | None = None,
    progress: Progress = lambda _done, _all: None,
) -> Rebuilt:
    """Make figures anew from the attempts: of every club, of one, or of one run-up.

    `approach` is an id, or a code in the club that is named. Several athletes may have a run-up of
    the same code; then it is all of theirs.

    Raises
    ------
    NotFoundError
        There is no club with this short name, or no such run-up with attempts.
    InvalidInputError
        A code without a club: the same code means another run-up in each.
    """
    approach_id = None if approach is None else _as_id(approach)
    if approach is not None and approach_id is None and club is None:
        raise InvalidInputError("A code is a run-up of one club: name the club, too.")
    work = []
    for club_id in _club_ids(club):
        with club_scope(club_id, read_only=True):
            series_of_club = selectors.list_series()
            if approach is not None:
                wanted = _find_approaches(approach, approach_id)
                series_of_club = [each for each in series_of_club if each.approach_id in wanted]
        work += [(club_id, series) for series in series_of_club]
    if approach is not None and not work:
        raise NotFoundError(f"There is no run-up {approach} with attempts.")
    made = 0
    for done, (club_id, series) in enumerate(work, 1):
        made += refreshing.refresh_series(
            club_id=club_id,
            approach_id=series.approach_id,
            finish_class=series.finish_class.value,
            whole=True,
        )
        progress(done, len(work))
    return Rebuilt(made=made, failed=len(work) - made)


def _club_ids(club: str | None) -> list[UUID]:
    if club is None:
        return club_selectors.list_club_ids()
    club_id = find_club_id(club)
    if club_id is None:
        raise NotFoundError(f"There is no club {club}.")
    return [club_id]


def _as_id(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def _find_approaches(approach: str, approach_id: UUID | None) -> set[UUID]:
    """Return the run-ups of the club in scope with this id, else with this code."""
    meant = {"code": approach} if approach_id is None else {"id": approach_id}
    return set(Approach.objects.filter(**meant).values_list("id", flat=True))
