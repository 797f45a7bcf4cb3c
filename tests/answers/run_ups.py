"""Run-ups for answers, without a database: by hand, or of a simulated athlete."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np

from analytics.core import simulator
from analytics.core.simulator import Athlete
from analytics.selectors import CheckMark, Marks, RunUps, Series
from approaches.models import FinishClass

TRANSITION, ATTACK, CHECK = 10, 6, 6
STARTED_AT = datetime(2026, 5, 2, 9, tzinfo=UTC)


def uuid_of(kind: int, number: int) -> UUID:
    return UUID(int=kind << 64 | number)


def make_marks(**fields: Any) -> Marks:
    return Marks(
        **{
            "id": uuid_of(1, fields.get("revision", 1)),
            "revision": 1,
            "start_mark_m": 34.20,
            "aim_m": 0.06,
            "check_marks": (),
            "transition_footfall": None,
            "attack_footfall": None,
            "toe_m": None,
            "last_contacts": (),
            **fields,
        }
    )


def marks_of(athlete: Athlete, **fields: Any) -> Marks:
    """Return a plan for an athlete, as a coach would enter it, to the centimetre."""
    toe_m = simulator.plan_run_up(athlete).toe_m.round(2)
    return make_marks(
        **{
            "start_mark_m": float(toe_m[-1]),
            "check_marks": (CheckMark(CHECK, float(toe_m[CHECK])),),
            "transition_footfall": TRANSITION,
            "attack_footfall": ATTACK,
            "toe_m": toe_m,
            **fields,
        }
    )


def make_run_ups(
    toe_m: Any, *, marks: Marks | None = None, session: Sequence[int] | None = None, **fields: Any
) -> RunUps:
    """Return attempts whose footfalls are given; the first column is the take-off foot."""
    toe = np.asarray(toe_m, dtype=np.float64)
    n, columns = toe.shape
    marks = marks or make_marks()
    unknown = np.full(toe.shape, np.nan)
    sessions = [0] * n if session is None else list(session)
    made = RunUps(
        series=Series(uuid_of(2, 1), FinishClass.JUMP),
        steps=columns - 1,
        shoe_length_m=None,
        marks_now=marks,
        marks={marks.id: marks},
        ids=[uuid_of(3, place) for place in range(n)],
        versions=[1] * n,
        started_at=[STARTED_AT + timedelta(minutes=6 * place) for place in range(n)],
        changed_at=[STARTED_AT + timedelta(minutes=6 * place + 1) for place in range(n)],
        plan_ids=[marks.id] * n,
        session_ids=[uuid_of(4, each) for each in sessions],
        is_jump=np.ones(n, dtype=np.bool_),
        no_jump=toe[:, 0] < 0,
        toe_m=toe,
        touchdown_s=unknown,
        toe_off_s=unknown,
        contacts=[(None, None, None)] * n,
        start_mark_m=np.full(n, marks.start_mark_m),
        wind_mps=np.full(n, np.nan),
        official_m=np.full(n, np.nan),
        gate_at_m=np.empty((n, 0)),
        gate_time_s=np.empty((n, 0)),
    )
    return replace(made, **fields)


def simulated(
    athlete: Athlete,
    attempts_by_session: Sequence[int],
    *,
    seed: int,
    marks: Marks | None = None,
    **fields: Any,
) -> RunUps:
    """Return attempts of an athlete whose habits are known."""
    made = simulator.simulate(
        athlete, attempts_by_session=attempts_by_session, rng=np.random.default_rng(seed)
    )
    return make_run_ups(
        made.toe_m,
        marks=marks or marks_of(athlete),
        session=made.session.tolist(),
        **{
            "no_jump": made.no_jump,
            "touchdown_s": made.touchdown_s,
            "toe_off_s": made.toe_off_s,
            "wind_mps": made.wind_mps,
            "official_m": made.official_m,
            "contacts": [("ball", "flat", "flat")] * made.session.size,
            **fields,
        },
    )


def timed(run_ups: RunUps, at_m: Sequence[float] = (11.0, 6.0, 1.0)) -> RunUps:
    """Return attempts with gates, passed as the footfalls' times have it."""
    place = np.tile(np.asarray(at_m, dtype=np.float64), (len(run_ups), 1))
    time = np.full(place.shape, np.nan)
    for row, (toe, down) in enumerate(zip(run_ups.toe_m, run_ups.touchdown_s, strict=True)):
        known = ~np.isnan(toe + down)
        if known.sum() >= 2:
            time[row] = np.interp(place[row], toe[known], down[known])
    return replace(run_ups, gate_at_m=place, gate_time_s=time)
