"""The next attempt of each run-up in a session, whoever asks: the API or the board.

Two doors that work it out apart could differ in what they look at, and so in what they advise.
"""

from collections.abc import Collection
from dataclasses import astuple, dataclass
from datetime import date
from uuid import UUID

from analytics import selectors
from analytics.answers import next_attempt, wind_table
from analytics.answers.next_attempt import Contest, NextAttempt
from analytics.answers.remembered import memory
from analytics.answers.warm_up import WarmingUp
from analytics.answers.wind_table import Winds
from analytics.selectors import RunUps, Series, SeriesInSession, Together
from analytics.services import warm_ups
from approaches.models import FinishClass, Session, SessionKind
from clubs.selectors import Caller

# As the answers that it is put together from are asked for, where a reader does not say so.
LATEST = 40


@dataclass(frozen=True, slots=True, eq=False)
class Ahead:
    """A run-up in a session, and its next attempt there.

    Attributes
    ----------
    run_ups
        What the answer rests on: the latest jumps.
    winds
        The wind table of the same jumps.
    """

    approach_id: UUID
    athlete_id: UUID
    athlete_code: str
    run_ups: RunUps
    next_attempt: NextAttempt
    winds: Winds


def read_next_attempts_for(
    caller: Caller,
    session: Session,
    *,
    attempts: int,
    cut_m: float | None,
    today: date,
    chosen: Collection[UUID] = (),
) -> list[Ahead]:
    """Return the next attempt of each run-up in a session that the caller may see, by codes.

    Of whoever jumped or ran through there, and of the run-ups that are `chosen`. In a competition
    of so many `attempts`, the cut as somebody expects it.

    Raises
    ------
    NotFoundError
        One of the chosen is none, or a stranger's.
    """
    jumping = {
        each.series.approach_id: each
        for each in selectors.list_series_in_session_for(caller, session.id, today=today)
    }
    warming_up = {
        each.approach_id
        for each in selectors.list_warming_up_for(caller, session.id, approach_id=None, today=today)
    }
    wanted = jumping.keys() | warming_up | set(chosen)
    if not wanted:
        return []
    last = {
        Series(each, FinishClass.JUMP): warm_ups.LATEST if each in warming_up else LATEST
        for each in wanted
    }
    last |= {Series(each, FinishClass.RUN_THROUGH): warm_ups.LATEST for each in warming_up}
    together = selectors.read_together_for(caller, last, today=today)
    warmings = warm_ups.calibrate(together.run_ups, warming_up, session_id=session.id)
    is_contest = session.kind == SessionKind.COMPETITION.value
    found = [
        _work_out(
            approach_id,
            together,
            session_id=session.id,
            contest=_contest_of(session, jumping.get(approach_id), attempts, cut_m)
            if is_contest
            else None,
            warming=warmings.get(approach_id),
        )
        for approach_id in wanted
    ]
    return sorted(found, key=lambda each: (each.athlete_code, each.approach_id))


def _contest_of(
    session: Session, so_far: SeriesInSession | None, attempts: int, cut_m: float | None
) -> Contest:
    return next_attempt.contest_of(
        attempts_taken=0 if so_far is None else so_far.attempts_taken,
        best_m=None if so_far is None else so_far.best_m,
        attempts=attempts,
        field_size=session.field_size,
        cut_m=cut_m,
    )


def _work_out(
    approach_id: UUID,
    together: Together,
    *,
    session_id: UUID,
    contest: Contest | None,
    warming: WarmingUp | None,
) -> Ahead:
    runner = together.runners[approach_id]
    run_ups = together.run_ups[Series(approach_id, FinishClass.JUMP)][-LATEST:]
    winds = memory.recall(("winds ahead", run_ups.key), lambda: wind_table.work_out(run_ups))
    options = () if contest is None else astuple(contest)
    # What was found of the warm-up stands for all that it rests on: it is remembered as well.
    answer = memory.recall(
        ("next attempt", run_ups.key, runner.body, session_id, warming, *options),
        lambda: next_attempt.work_out(
            run_ups,
            session=session_id,
            contest=contest,
            body=runner.body,
            warming=warming,
            winds=winds,
        ),
    )
    return Ahead(approach_id, runner.athlete_id, runner.athlete_code, run_ups, answer, winds)
