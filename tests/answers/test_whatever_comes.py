"""No attempts that a push lets through are too few, too equal or too odd for an answer."""

from dataclasses import replace
from types import ModuleType
from uuid import UUID

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.answers import next_attempt
from analytics.answers.next_attempt import contest_of
from analytics.core.conventions import FloatArray
from analytics.core.simulator import Athlete
from analytics.selectors import CheckMark, RunUps
from tests.answers.pages import QUESTIONS
from tests.answers.run_ups import make_marks, make_run_ups, marks_of, simulated, uuid_of

STEPS = (2, 3, 4, 8, 16)
CONTACTS = ("ball", "flat", "heel", None)


@st.composite
def odd_run_ups(draw: st.DrawFn) -> RunUps:
    """Draw attempts of which much is missing, under plans that say little."""
    steps = draw(st.sampled_from(STEPS))
    n = draw(st.integers(0, 20))
    rng = np.random.default_rng(draw(st.integers(0, 2**16)))
    spread_m = draw(st.sampled_from([0.0, 0.001, 0.1, 0.4]))
    lengths = 2.0 + np.clip(rng.normal(0, spread_m, (n, steps)), -1.4, 1.0)
    toe = np.cumsum(np.column_stack([rng.normal(0.06, spread_m, n), lengths]), axis=1)
    down = -np.cumsum(np.column_stack([np.zeros(n), lengths / rng.uniform(5, 9, (n, 1))]), axis=1)
    off = down + 0.05
    missing = rng.random(toe.shape) < draw(st.sampled_from([0.0, 0.1, 0.6, 1.0]))
    untimed = rng.random(toe.shape) < draw(st.sampled_from([0.0, 0.5, 1.0]))
    no_jump = (toe[:, 0] < 0) | (rng.random(n) < 0.1)
    first, second = (_draw_marks(draw, steps, revision=each) for each in (1, 2))
    at = draw(st.integers(0, n))
    plan_ids: list[UUID | None] = [first.id] * at + [second.id] * (n - at)
    if draw(st.booleans()):
        plan_ids = [None] * n
    official = np.where(no_jump, np.nan, rng.normal(5, draw(st.sampled_from([0.0, 0.2, 2])), n))
    return replace(
        make_run_ups(np.where(missing, np.nan, toe), marks=first),
        marks={first.id: first, second.id: second},
        marks_now=draw(st.sampled_from([None, first, second])),
        plan_ids=plan_ids,
        session_ids=[uuid_of(4, int(each)) for each in np.sort(rng.integers(0, 5, n))],
        no_jump=no_jump,
        is_jump=rng.random(n) < 0.8,
        touchdown_s=np.where(untimed, np.nan, down),
        toe_off_s=np.where(untimed, np.nan, off),
        contacts=[tuple(CONTACTS[each] for each in rng.integers(0, 4, 3)) for _ in range(n)],
        start_mark_m=_some(
            rng, np.full(n, 2.0 * steps + 2), draw(st.sampled_from([0.0, 0.5, 1.0]))
        ),
        wind_mps=_some(rng, rng.normal(0, 3, n), draw(st.sampled_from([0.0, 0.5, 1.0]))),
        official_m=np.maximum(np.round(official, 2), 0.0),
    )


def _draw_marks(draw: st.DrawFn, steps: int, *, revision: int):
    has_phases = steps > 3 and draw(st.booleans())
    check_marks: tuple[CheckMark, ...] = ()
    if steps > 2 and draw(st.booleans()):
        footfall = draw(st.integers(1, steps - 1))
        check_marks = (CheckMark(footfall, 2.0 * footfall + 0.1),)
    return make_marks(
        id=uuid_of(1, revision),
        revision=revision,
        start_mark_m=2.0 * steps + draw(st.sampled_from([0.06, 0.5])),
        check_marks=check_marks,
        transition_footfall=3 if has_phases else None,
        attack_footfall=2 if has_phases else None,
        toe_m=0.06 + 2.0 * np.arange(steps + 1) if draw(st.booleans()) else None,
    )


def _some(rng: np.random.Generator, values: FloatArray, missing: float) -> FloatArray:
    return np.where(rng.random(values.size) < missing, np.nan, values)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda each: each.__name__.rpartition(".")[2])
class TestEveryQuestion:
    @settings(max_examples=25, deadline=None)
    @given(run_ups=odd_run_ups())
    def test_has_an_answer_to_whatever_was_measured(self, question: ModuleType, run_ups: RunUps):
        said = question.tell(question.work_out(run_ups))

        assert said.text
        assert said.more_attempts_needed >= 0
        assert "nan" not in said.text


@settings(max_examples=25, deadline=None)
@given(run_ups=odd_run_ups(), taken=st.integers(0, 7), cut=st.booleans())
def test_there_is_something_to_say_of_every_next_attempt(run_ups: RunUps, taken: int, cut: bool):
    contest = contest_of(
        attempts_taken=taken, best_m=None, attempts=6, field_size=12, cut_m=5.2 if cut else None
    )

    for each in (None, contest):
        found = next_attempt.work_out(run_ups, session=uuid_of(4, 2), contest=each)
        assert next_attempt.tell(found).text


def test_shifting_all_positions_shifts_the_mark_and_nothing_else():
    """Were the line measured from a metre farther off, spread and steering would be the same."""
    athlete = Athlete(unmeasured_no_jump_share=0.0)
    runs = simulated(athlete, [6] * 5, seed=3)
    (steering,) = [each for each in QUESTIONS if each.__name__.endswith("steering")]
    marks = marks_of(athlete)
    assert marks.toe_m is not None
    farther = replace(runs, toe_m=runs.toe_m + 1.0, no_jump=runs.no_jump)

    here, there = (steering.work_out(each) for each in (runs, farther))

    np.testing.assert_allclose(here.spread.sd_m, there.spread.sd_m, atol=1e-9)
    np.testing.assert_allclose(
        here.needed_and_made.gain, there.needed_and_made.gain, rtol=1e-6, atol=1e-9
    )
    assert there.spread.onset.footfall == here.spread.onset.footfall
