"""More steps or not, in figures and words."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.answers import length_advice as answer
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.length_advice import LengthAdvice, LengthAnswer
from analytics.core.length_conditions import Condition, State
from analytics.selectors import Body, RunUps
from tests.answers.run_ups import make_run_ups, uuid_of

TODAY = 740_000
# Steps of 2.15, 2.25 and 2.00 m before the board: medium, long, short.
LAST_STEPS = np.array([0.0, 2.00, 4.25, 6.40])


def make_body(**fields: object) -> Body:
    return Body(
        **{
            "today": TODAY,
            "age_years": 20.0,
            "event": "long_jump",
            "steps": 16,
            "plan_day": TODAY - 60,
            "heights": (),
            "jumps": (),
            "going_on": frozenset(),
            **fields,
        }  # type: ignore[arg-type]  # fields by name
    )


def jumped(sd_m: float, *, sessions: int = 6, each: int = 6) -> RunUps:
    """Return attempts whose toes have this SD in each session, and the usual last steps."""
    pattern = np.linspace(-1, 1, each)
    toe = 0.06 + sd_m * pattern / pattern.std(ddof=1)
    board = np.tile(toe, sessions)
    footfalls = np.hstack([board[:, None] + LAST_STEPS, np.full((board.size, 13), np.nan)])
    session = np.repeat(np.arange(sessions), each).tolist()
    made = make_run_ups(footfalls, session=session)
    time = np.tile([4.0, 4.5, 5.0], (board.size, 1))
    return replace(made, gate_at_m=np.tile([11.0, 6.0, 1.0], (board.size, 1)), gate_time_s=time)


def advice_of(found: answer.Length) -> LengthAdvice:
    assert isinstance(found.advice, LengthAdvice)
    return found.advice


def states_of(found: answer.Length) -> dict[Condition, State]:
    return {each.condition: each.state for each in advice_of(found).latest.findings}


class TestTheAnswer:
    def test_of_a_steady_athlete_is_a_pair_more_with_the_caution(self):
        found = answer.work_out(jumped(0.05), body=make_body())

        assert (advice_of(found).answer, advice_of(found).steps_change) == (LengthAnswer.READY, 2)
        said = answer.tell(found)
        assert said.text.startswith("Ready for a pair of steps more: from 16 to 18 steps.")
        assert said.caution is not None

    def test_of_one_who_spreads_is_not_yet_and_of_one_who_spreads_widely_fewer(self):
        wide, too_wide = (
            answer.tell(answer.work_out(jumped(sd), body=make_body())) for sd in (0.13, 0.25)
        )

        assert wide.text.startswith("Not ready for more steps yet: stay at 16.")
        assert too_wide.text.startswith("Better a pair of steps fewer for now: 14 steps")

    def test_names_every_condition_with_its_number(self):
        found = answer.work_out(jumped(0.13), body=make_body())

        reasons = {each.code: each for each in answer.tell(found).reasons}
        assert set(reasons) == {*(each.value for each in Condition), "usual_steps"}
        spread = reasons["spread"]
        assert spread.numbers["state"] == "unmet"
        assert spread.numbers["limit"] == 0.10
        size = 100 * float(spread.numbers["value"] or 0)
        assert size == pytest.approx(13, abs=1)
        assert spread.text.startswith(f"Not met: the toe spreads by {size:.0f} cm at the board")

    def test_asks_less_of_a_child(self):
        """0.16 m below 14 years, 0.10 m of a senior (job's settings)."""
        child, senior = (
            answer.work_out(jumped(0.11), body=make_body(age_years=age)) for age in (12.5, 20.0)
        )

        assert advice_of(child).ready_sd_m == 0.16
        assert child.usual_steps == (12, 14)
        assert states_of(child)[Condition.SPREAD] is State.MET
        assert states_of(senior)[Condition.SPREAD] is not State.MET

    def test_takes_the_strictest_limit_without_an_age(self):
        assert advice_of(answer.work_out(jumped(0.05))).ready_sd_m == 0.10

    def test_says_which_first_step_would_do(self):
        """A toe that spreads little but lies beyond the line on the mean: the mark is wrong."""
        runs = jumped(0.05)
        runs.toe_m[:, :4] -= 0.08

        said = answer.tell(answer.work_out(runs, body=make_body()))

        assert "See to the start mark first" in said.text

    def test_of_an_open_session_waits_until_it_is_over(self):
        runs = jumped(0.05)
        last = runs.session_ids[-1]

        found = answer.work_out(runs, body=make_body(going_on=frozenset({last})))

        assert advice_of(found).latest.n == 30

    def test_needs_attempts(self):
        found = answer.work_out(jumped(0.05, sessions=2), body=make_body())

        assert found.advice == NotEnoughAttempts(n=12, needed=15)
        assert answer.tell(found).more_attempts_needed == 3


class TestCautions:
    def test_of_a_growth_spurt_holds_back(self):
        """9 cm in a year, of which 3 cm since the marks were set."""
        heights = ((TODAY - 365, 1.60), (TODAY - 61, 1.66), (TODAY - 2, 1.69))

        found = answer.work_out(jumped(0.05), body=make_body(heights=heights, age_years=13.0))

        assert states_of(found)[Condition.GROWTH] is State.UNMET
        assert advice_of(found).answer is LengthAnswer.NOT_YET
        (reason,) = [each for each in answer.tell(found).reasons if each.code == "growth"]
        assert "3.0 cm grown since the marks were set." in reason.text

    def test_of_many_jumps_hold_back(self):
        """Nine in a session: one more than common practice has."""
        jumps = tuple((TODAY - 1, uuid_of(9, 1)) for _ in range(9))

        found = answer.work_out(jumped(0.05), body=make_body(jumps=jumps))

        assert states_of(found)[Condition.LOAD] is State.UNMET
        assert (found.cautions.session_jumps, found.cautions.session_limit) == (9, 8)
        (reason,) = [each for each in answer.tell(found).reasons if each.code == "load"]
        assert reason.text.startswith("Not met: 9 full jumps in the last session")

    def test_that_nobody_can_judge_are_left_to_the_coach(self):
        said = answer.tell(answer.work_out(jumped(0.05), body=make_body()))

        assert any("left to the coach: growth, load" in each for each in said.would_change)

    @pytest.mark.parametrize("steps", [2])
    def test_of_a_run_up_without_a_third_last_step_are_no_error(self, steps: int):
        runs = make_run_ups(np.full((18, steps + 1), 0.06), session=[0] * 6 + [1] * 6 + [2] * 6)

        assert states_of(answer.work_out(runs))[Condition.LAST_STEPS] is State.UNKNOWN
