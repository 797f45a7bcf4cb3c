"""Answers of each kind, with much and with little behind them."""

from dataclasses import replace
from functools import cache
from types import ModuleType
from typing import Any

from analytics.answers import (
    aim,
    error_shares,
    last_steps_layout,
    length_advice,
    mark_advice,
    outlook,
    practice_focus,
    rhythm,
    speed,
    steering,
    wind_table,
)
from analytics.core.simulator import Athlete
from analytics.selectors import Marks
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
    length_advice,
    last_steps_layout,
)


def _cases() -> dict[str, tuple[ModuleType, Athlete, list[int], Marks]]:
    cases = {}
    for question in QUESTIONS:
        name = question.__name__.rpartition(".")[2]
        for who, athlete in ATHLETES.items():
            for how_many, sessions in SESSIONS.items():
                case = (question, athlete, sessions, marks_of(athlete))
                cases[f"{name}, {who}, {how_many}"] = case
        unplanned = make_marks(id=marks_of(STEADY).id)
        cases[f"{name}, without a planned footfall"] = (question, STEADY, [6] * 4, unplanned)
    return cases


_CASES = _cases()
EVERY_ANSWER = tuple(_CASES)


@cache
def answer_of(name: str) -> tuple[ModuleType, Any]:
    """Return a question and what was found for it, worked out once for all tests."""
    question, athlete, sessions, marks = _CASES[name]
    run_ups = timed(simulated(athlete, sessions, seed=2, marks=marks))
    return question, question.work_out(run_ups)


def depth_0_of(text: str) -> str:
    """Return what stands outside of all brackets."""
    depth, outside = 0, []
    for letter in text:
        depth -= letter == "]"
        if depth == 0 and letter not in "[]":
            outside.append(letter)
        depth += letter == "["
    return "".join(outside)
