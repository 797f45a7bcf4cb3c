"""What run-throughs say about today's mark, for whoever asks: worked out once."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from analytics import selectors
from analytics.answers import warm_up
from analytics.answers.remembered import memory
from analytics.answers.warm_up import WarmingUp
from analytics.selectors import RunUps, Series
from approaches.models import FinishClass
from clubs.selectors import Caller

# How run-throughs land against jumps is learned from many sessions.
LATEST = 100


@dataclass(frozen=True, slots=True, eq=False)
class WarmUp:
    """An athlete who warms up for a run-up."""

    athlete_id: UUID
    athlete_code: str
    run_throughs: RunUps
    answer: WarmingUp


def read_warm_ups_for(
    caller: Caller, session_id: UUID, *, approach_id: UUID | None, today: date
) -> list[WarmUp]:
    """Return who warms up in a session, of athletes whom the caller may see, by their codes.

    With `approach_id` that run-up alone, before its first run-through as well.
    """
    found = selectors.list_warming_up_for(caller, session_id, approach_id=approach_id, today=today)
    last = {
        Series(each.approach_id, finish_class): LATEST
        for each in found
        for finish_class in FinishClass
    }
    run_ups = selectors.read_together_for(caller, last, today=today).run_ups if found else {}
    answers = calibrate(run_ups, [each.approach_id for each in found], session_id=session_id)
    return [
        WarmUp(
            athlete_id=each.athlete_id,
            athlete_code=each.athlete_code,
            run_throughs=run_ups[Series(each.approach_id, FinishClass.RUN_THROUGH)],
            answer=answers[each.approach_id],
        )
        for each in found
    ]


def calibrate(
    run_ups: Mapping[Series, RunUps], approach_ids: Collection[UUID], *, session_id: UUID
) -> dict[UUID, WarmingUp]:
    """Return what the run-throughs of a session say, by run-up.

    From the `LATEST` jumps and run-throughs of each.
    """
    held_in = {
        approach_id: {*run_ups[Series(approach_id, FinishClass.JUMP)].session_ids, session_id}
        for approach_id in approach_ids
    }
    if not held_in:
        return {}
    competitions = selectors.find_competitions(list(set().union(*held_in.values())))
    return {
        approach_id: _calibrate_one(
            run_ups, approach_id, session_id=session_id, competitions=competitions & session_ids
        )
        for approach_id, session_ids in held_in.items()
    }


def _calibrate_one(
    run_ups: Mapping[Series, RunUps],
    approach_id: UUID,
    *,
    session_id: UUID,
    competitions: frozenset[UUID],
) -> WarmingUp:
    jumps, run_throughs = (
        run_ups[Series(approach_id, each)] for each in (FinishClass.JUMP, FinishClass.RUN_THROUGH)
    )
    return memory.recall(
        ("warm-up", run_throughs.key, jumps.key, session_id, competitions),
        lambda: warm_up.work_out(
            run_throughs, jumps, session=session_id, competitions=competitions
        ),
    )
