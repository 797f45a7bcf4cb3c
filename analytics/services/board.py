"""What a coach has in hand during a session: of each run-up the next attempt, and what was done."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import astuple, dataclass
from datetime import date
from uuid import UUID

from analytics import selectors
from analytics.answers import next_attempt, warm_up, wind_table
from analytics.answers.next_attempt import Contest, NextAttempt
from analytics.answers.remembered import memory
from analytics.answers.warm_up import WarmingUp
from analytics.answers.wind_table import Winds
from analytics.selectors import RunUps, Series
from approaches import selectors as approach_selectors
from approaches.models import Approach, Attempt, FinishClass, Session, SessionKind
from clubs.selectors import Caller
from common.errors import NotFoundError

# As the answers are asked for, where a reader does not say so.
_LATEST = 40
_LATEST_OF_WARM_UP = 100


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
    in_session = {
        each.series.approach_id: each
        for each in selectors.list_series_in_session_for(caller, session.id, today=today)
    }
    warming_up = selectors.list_warming_up_for(caller, session.id, approach_id=None, today=today)
    wanted = in_session.keys() | {each.approach_id for each in warming_up} | set(chosen)
    approaches = approach_selectors.list_approaches_for(caller, today=today)
    found = list(approaches.filter(id__in=wanted).select_related("athlete"))
    if len(found) < len(wanted):
        raise NotFoundError
    done = _attempts_of(caller, session, wanted, today=today)
    entries = []
    for approach in sorted(found, key=_by_name):
        so_far = in_session.get(approach.id)
        contest = None
        if session.kind == SessionKind.COMPETITION.value:
            contest = next_attempt.contest_of(
                attempts_taken=0 if so_far is None else so_far.attempts_taken,
                best_m=None if so_far is None else so_far.best_m,
                attempts=attempts,
                field_size=session.field_size,
                cut_m=cut_m,
            )
        entries.append(
            _entry(caller, session, approach, done.get(approach.id, []), contest, today=today)
        )
    return entries


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


def _entry(
    caller: Caller,
    session: Session,
    approach: Approach,
    attempts: Sequence[Attempt],
    contest: Contest | None,
    *,
    today: date,
) -> Entry:
    jumps, run_throughs = (
        selectors.read_run_ups_for(caller, Series(approach.id, kind), last=last, today=today)
        for kind, last in (
            (FinishClass.JUMP, _LATEST),
            (FinishClass.RUN_THROUGH, _LATEST_OF_WARM_UP),
        )
    )
    body = selectors.read_body_for(caller, approach.id, today=today)
    warming = None
    if session.id in run_throughs.session_ids:
        warming = _warming_up(caller, session, run_throughs, today=today)
    options = () if contest is None else astuple(contest)
    return Entry(
        approach=approach,
        attempts=attempts,
        run_ups=jumps,
        next_attempt=memory.recall(
            ("board", jumps.key, run_throughs.key, body, session.id, *options),
            lambda: next_attempt.work_out(
                jumps, session=session.id, contest=contest, body=body, warming=warming
            ),
        ),
        winds=memory.recall(("winds on board", jumps.key), lambda: wind_table.work_out(jumps)),
    )


def _warming_up(
    caller: Caller, session: Session, run_throughs: RunUps, *, today: date
) -> WarmingUp:
    jumps = selectors.read_run_ups_for(
        caller,
        Series(run_throughs.series.approach_id, FinishClass.JUMP),
        last=_LATEST_OF_WARM_UP,
        today=today,
    )
    competitions = selectors.find_competitions([*jumps.session_ids, session.id])
    return memory.recall(
        ("warm-up", run_throughs.key, jumps.key, session.id, competitions),
        lambda: warm_up.work_out(
            run_throughs, jumps, session=session.id, competitions=competitions
        ),
    )
