"""What a coach has in hand during a session: of each run-up the next attempt, and what was done."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from analytics.answers.next_attempt import NextAttempt
from analytics.answers.wind_table import Winds
from analytics.selectors import RunUps
from analytics.services import next_attempts
from approaches import selectors as approach_selectors
from approaches.models import Approach, Attempt, Session
from clubs.selectors import Caller


@dataclass(frozen=True, slots=True, eq=False)
class Entry:
    """A run-up on the board.

    Attributes
    ----------
    attempts
        Of this session, in order, voided ones left out.
    run_ups
        What the answers rest on.
    """

    approach: Approach
    attempts: Sequence[Attempt]
    run_ups: RunUps
    next_attempt: NextAttempt
    winds: Winds


def read_board_for(
    caller: Caller,
    session: Session,
    *,
    chosen: Collection[UUID] = (),
    attempts: int,
    cut_m: float | None,
    today: date,
) -> list[Entry]:
    """Return the run-ups of a session that the caller may see, and those `chosen`, by name.

    Raises
    ------
    NotFoundError
        One of the chosen is none, or a stranger's.
    """
    ahead = next_attempts.read_next_attempts_for(
        caller, session, attempts=attempts, cut_m=cut_m, today=today, chosen=chosen
    )
    ids = [each.approach_id for each in ahead]
    approaches = {
        each.id: each
        for each in approach_selectors.list_approaches_for(caller, today=today)
        .filter(id__in=ids)
        .select_related("athlete")
    }
    done = _attempts_of(caller, session, ids, today=today)
    entries = [
        Entry(
            approach=approaches[each.approach_id],
            attempts=done.get(each.approach_id, []),
            run_ups=each.run_ups,
            next_attempt=each.next_attempt,
            winds=each.winds,
        )
        for each in ahead
    ]
    return sorted(entries, key=lambda entry: _by_name(entry.approach))


def _by_name(approach: Approach) -> tuple[str, str, str]:
    athlete = approach.athlete
    return athlete.family_name.casefold(), athlete.given_name.casefold(), approach.code


def _attempts_of(
    caller: Caller, session: Session, approach_ids: Collection[UUID], *, today: date
) -> Mapping[UUID, list[Attempt]]:
    done: dict[UUID, list[Attempt]] = {}
    attempts = approach_selectors.list_attempts_for(caller, today=today).filter(
        session=session, approach_id__in=approach_ids, voided_at=None
    )
    for attempt in attempts.order_by("started_at", "id"):
        done.setdefault(attempt.approach_id, []).append(attempt)
    return done
