"""Whether to move the start mark, in figures and words."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.answers import mark_advice
from analytics.core.mark_advice import MarkAdvice, MarkAnswer
from analytics.core.simulator import Athlete
from analytics.core.wind import felt_wind, usual_wind_slope
from analytics.selectors import CheckMark
from tests.answers.run_ups import CHECK, make_marks, make_run_ups, marks_of, simulated

# The six attempts of the worked example in docs/metrics/mark_advice.md.
SHORT = np.array([0.16, 0.11, 0.19, 0.13, 0.15, 0.12])
HEALTHY = Athlete(unmeasured_no_jump_share=0.0)


def at_board(errors, **fields):
    """Return attempts of which only the take-off toe was measured."""
    toe = np.full((len(errors), 17), np.nan)
    toe[:, 0] = 0.06 + np.asarray(errors)
    return make_run_ups(toe, **fields)


def advice_of(found: mark_advice.Mark) -> MarkAdvice:
    assert isinstance(found.advice, MarkAdvice)
    return found.advice


class TestWorkOut:
    def test_moves_as_in_the_worked_example(self):
        found = mark_advice.work_out(at_board(SHORT, shoe_length_m=0.295))

        advice = advice_of(found)
        assert (advice.answer, advice.start_mark_m) == (MarkAnswer.MOVE, 34.08)
        assert (found.start_mark_feet, found.start_mark_shoes) == ("111 ft 9 3/4 in", 115.5)

    def test_starts_from_the_mark_that_was_planned_since(self):
        """The coach has moved the mark by the 12 cm: now nothing is left to move."""
        before, since = make_marks(), make_marks(revision=2, start_mark_m=34.08)
        run_ups = replace(
            at_board(SHORT, marks=before),
            marks_now=since,
            marks={before.id: before, since.id: since},
        )

        advice = advice_of(mark_advice.work_out(run_ups))

        assert advice.answer is not MarkAnswer.MOVE
        assert advice.start_mark_m == 34.08
        assert abs(advice.board.mean_m) < 0.03

    def test_holds_all_attempts_against_the_check_mark_of_now(self):
        """The mark was moved by 0.30 m, the check mark with it: the foot passes it as before."""
        rng = np.random.default_rng(1)
        at_m = 13.0
        before = make_marks(check_marks=(CheckMark(CHECK, at_m),))
        since = make_marks(
            revision=2, start_mark_m=34.50, check_marks=(CheckMark(CHECK, at_m + 0.30),)
        )
        toe = np.full((12, 17), np.nan)
        toe[:, 0] = 0.06 + rng.normal(0, 0.03, 12)
        toe[:, CHECK] = at_m + rng.normal(0, 0.03, 12) + np.repeat([0.0, 0.30], 6)
        run_ups = replace(
            make_run_ups(toe, marks=since),
            plan_ids=[before.id] * 6 + [since.id] * 6,
            start_mark_m=np.repeat([34.20, 34.50], 6),
            marks={before.id: before, since.id: since},
        )

        advice = advice_of(mark_advice.work_out(run_ups))

        assert advice.check is not None
        assert abs(advice.check.mean_m) < 0.05
        assert advice.answer is not MarkAnswer.MOVE

    def test_takes_the_usual_wind_out(self):
        """Errors that the wind explains to the millimetre leave no bias."""
        wind = np.array([2.0, 1.5, 2.5, 1.0, 2.0, 1.5])
        by_wind = usual_wind_slope(34.20 - 0.06) * felt_wind(wind)

        calm, windy = (
            advice_of(mark_advice.work_out(at_board(by_wind, wind_mps=each)))
            for each in (np.full(6, np.nan), wind)
        )

        assert windy.board.mean_m == pytest.approx(0, abs=1e-9)
        assert calm.board.mean_m < -0.05
        assert mark_advice.work_out(at_board(by_wind, wind_mps=wind)).n_with_wind == 6

    def test_knows_nothing_without_a_start_mark(self):
        run_ups = at_board(SHORT, start_mark_m=np.full(6, np.nan))

        said = mark_advice.tell(mark_advice.work_out(run_ups))

        assert said.more_attempts_needed == 2
        assert said.text.startswith("Not enough attempts yet: 0 of 2 with a start mark")

    def test_watches_the_check_mark_that_is_passed_before_steering(self):
        marks = marks_of(HEALTHY)
        assert marks.toe_m is not None
        both = tuple(CheckMark(each, float(marks.toe_m[each])) for each in (4, 8))
        steers = replace(HEALTHY, steering_from=6, steering_gain=0.5, start_sd_m=0.2)

        runs = simulated(steers, [6] * 5, seed=3, marks=marks_of(HEALTHY, check_marks=both))

        assert mark_advice.work_out(runs).check_footfall == 8

    @pytest.mark.parametrize("error_m", [0.25, -0.25])
    def test_finds_the_mark_error_that_was_put_in(self, error_m: float):
        off = replace(HEALTHY, mark_error_m=error_m)

        found = mark_advice.work_out(simulated(off, [6] * 5, seed=1, marks=marks_of(HEALTHY)))

        advice = advice_of(found)
        assert advice.answer is MarkAnswer.MOVE
        assert advice.move_m == pytest.approx(-error_m, abs=0.06)


class TestTell:
    def test_names_size_direction_and_mark(self):
        said = mark_advice.tell(mark_advice.work_out(at_board(SHORT, shoe_length_m=0.295)))

        assert said.text == (
            "Move the start mark by 12 cm toward the pit, to 34.08 m (111 ft 9 3/4 in, 115.5 shoe "
            "lengths). At the board the foot lands 12 cm short on the mean. Set check marks anew "
            "in a run-through."
        )
        assert said.caution is not None
        assert any("steering hides a wrong mark" in each for each in said.would_change)

    def test_moves_back_whoever_lands_beyond(self):
        said = mark_advice.tell(mark_advice.work_out(at_board(-SHORT)))

        assert said.text.startswith("Move the start mark back by 12 cm, away from the pit")
        assert "lands 12 cm too far toward the pit" in said.text

    def test_sends_to_the_last_steps_when_the_check_mark_is_met(self):
        marks = make_marks(check_marks=(CheckMark(CHECK, 13.0),))
        runs = at_board(SHORT, marks=marks)
        runs.toe_m[:, CHECK] = 13.0

        said = mark_advice.tell(mark_advice.work_out(runs))

        assert said.text.startswith("Leave the start mark at 34.20 m (112 ft 2 1/2 in): the check")
        assert said.text.endswith("so the trouble lies in the last steps.")

    def test_leaves_a_right_mark(self):
        right = at_board([0.01, -0.02, 0.0, 0.02, -0.01] * 3)

        said = mark_advice.tell(mark_advice.work_out(right))

        assert said.text.startswith("Leave the start mark at 34.20 m")
        assert "It is right" in said.text

    def test_waits_for_more_when_nothing_is_shown(self):
        said = mark_advice.tell(mark_advice.work_out(at_board([0.10, 0.0])))

        assert "These attempts do not show whether it is wrong" in said.text

    def test_gives_each_place_with_its_chance_and_its_limit(self):
        found = mark_advice.work_out(at_board(SHORT))
        board = advice_of(found).board

        (reason,) = mark_advice.tell(found).reasons

        assert reason.code == "board"
        assert reason.numbers["probability_off"] == board.probability_short
        assert (reason.numbers["limit_m"], reason.numbers["sure"]) == (0.05, 0.8)
