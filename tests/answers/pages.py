"""Answers of each kind, with much and with little behind them."""

from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest

from analytics.answers import (
    aim,
    error_shares,
    mark_advice,
    outlook,
    practice_focus,
    rhythm,
    speed,
    steering,
    wind_table,
)
from analytics.core.simulator import Athlete
from tests.answers.run_ups import make_marks, marks_of, simulated, timed

STEADY = Athlete(unmeasured_no_jump_share=0.3)
ATHLETES = {
    "steady": STEADY,
    "unsteady": replace(STEADY, unsteady_steps=(16, 11), unsteady_sd_m=0.15, steering_gain=0.2),
    "blind": replace(STEADY, steering_from=0),
    "late": replace(STEADY, steering_from=2, steering_gain=0.7, step_sd_m=0.10),
    "off the mark": replace(STEADY, mark_error_m=0.3),
}
SESSIONS = {"many": [6] * 6, "some": [6, 6], "few": [3], "none": []}
QUESTIONS: tuple[ModuleType, ...] = (
    steering,
    error_shares,
    rhythm,
    outlook,
    aim,
    mark_advice,
    practice_focus,
    speed,
    wind_table,
)


def _answers() -> list[Any]:
    made = []
    for question in QUESTIONS:
        name = question.__name__.rpartition(".")[2]
        for who, athlete in ATHLETES.items():
            for how_many, sessions in SESSIONS.items():
                run_ups = timed(simulated(athlete, sessions, seed=2))
                made.append((question, run_ups, f"{name}, {who}, {how_many}"))
        unplanned = make_marks(id=marks_of(STEADY).id)
        run_ups = simulated(STEADY, [6] * 4, seed=2, marks=unplanned)
        made.append((question, run_ups, f"{name}, without a planned footfall"))
    return [pytest.param(each, each.work_out(run_ups), id=name) for each, run_ups, name in made]


EVERY_ANSWER = _answers()


def depth_0_of(text: str) -> str:
    """Return what stands outside of all brackets."""
    depth, outside = 0, []
    for letter in text:
        depth -= letter == "]"
        if depth == 0 and letter not in "[]":
            outside.append(letter)
        depth += letter == "["
    return "".join(outside)
