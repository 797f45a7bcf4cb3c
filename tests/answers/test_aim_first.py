"""Outside of a competition: what practice-focus says of the aim is said with the next attempt."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analytics.answers import aim_first, next_attempt, practice_focus
from analytics.answers.aim_first import GOOD, TOO_FAR, TOO_NEAR, AimFirst
from analytics.answers.next_attempt import Contest, NextAttempt
from analytics.core.aim import AimAdvice
from analytics.core.mark_advice import MarkAdvice
from analytics.core.simulator import Athlete
from analytics.selectors import RunUps
from tests.answers.pages import depth_0_of
from tests.answers.run_ups import marks_of, simulated, uuid_of
from tests.core.troubles import TROUBLES

TODAY = uuid_of(4, 5)
OPEN = Contest(attempts_taken=0, attempts_left=6, cut_waits=False, best_m=None, cut_m=None)


def runs(aim_m: float, *, lands_m: float | None = None, seed: int = 3) -> RunUps:
    """Return attempts under a plan with an aim, landing there or elsewhere on the mean."""
    athlete = Athlete(unmeasured_no_jump_share=0.0, aim_m=aim_m if lands_m is None else lands_m)
    return simulated(athlete, [6] * 6, seed=seed, marks=marks_of(athlete, aim_m=aim_m))


def in_training(run_ups: RunUps, **options: Any) -> NextAttempt:
    return next_attempt.work_out(run_ups, session=TODAY, contest=None, **options)


def first_of(found: NextAttempt) -> AimFirst:
    assert found.aim_first is not None
    return found.aim_first


class TestAnAimTooNear:
    RUN_UPS = runs(0.0)

    def test_is_kept_and_said_to_be_what_practice_focus_says(self):
        focus, found = practice_focus.work_out(self.RUN_UPS), in_training(self.RUN_UPS)

        assert (found.aim_m, found.aim_moves_m) == (0.0, 0.0)
        said = first_of(found)
        assert focus.first == practice_focus.AIM
        assert focus.aim is not None
        assert isinstance(focus.aim.aim, AimAdvice)
        assert (said.planned, said.aim_m) == (TOO_NEAR, focus.aim.aim.fixed.aim_m)
        assert said.gain_m == focus.aim.aim.gain_m
        assert said.probability_no_jump == focus.aim.aim.habit_probability_no_jump > 0.3

    def test_can_be_tried_from_a_mark_as_much_farther_back(self):
        found = in_training(self.RUN_UPS)

        said = first_of(found)
        assert found.start_mark_m is not None
        assert said.aim_m is not None
        assert said.aim_m > 0.05
        assert said.start_mark_m == pytest.approx(found.start_mark_m + said.aim_m)
        text = next_attempt.tell(found).text
        assert "for it lies too near the line" in text
        assert f"To try that aim, run from {said.start_mark_m:.2f} m" in text

    def test_is_told_with_the_numbers_of_practice_focus(self):
        told = practice_focus.tell(practice_focus.work_out(self.RUN_UPS)).text
        worth = told[told.index("to aim" if "to aim" in told else "To aim") + 2 :]

        said = next_attempt.tell(in_training(self.RUN_UPS))

        assert worth.rstrip(".") in said.text
        (reason,) = [each for each in said.reasons if each.code == "aim_first"]
        assert reason.numbers["planned_aim_m"] == 0.0
        assert reason.numbers["aim_m"] == first_of(in_training(self.RUN_UPS)).aim_m
        assert "0 cm behind the line, is too near" in reason.text
        assert any("Another aim in the plan" in each for each in said.would_change)

    def test_is_weighed_itself_in_a_competition(self):
        found = next_attempt.work_out(self.RUN_UPS, session=TODAY, contest=OPEN)

        assert found.aim_first is None
        assert found.aim_moves_m > 0.05

    def test_has_no_number_where_nobody_measured_distances(self):
        blind = replace(self.RUN_UPS, official_m=np.full(36, np.nan))
        focus = practice_focus.work_out(blind)

        said = first_of(in_training(blind))

        assert said == AimFirst(TOO_NEAR, 0.0, None, None, None, None, said.probability_no_jump)
        assert said.probability_no_jump == focus.probability_no_jump
        assert "Plan an aim farther behind the line" in next_attempt.tell(in_training(blind)).text


class TestAnAimTooFar:
    def test_is_said_to_be_so_and_tried_nearer(self):
        run_ups = runs(0.20)
        found = in_training(run_ups)

        said = first_of(found)

        assert practice_focus.work_out(run_ups).first == practice_focus.AIM
        assert said.planned == TOO_FAR
        assert said.start_mark_m is not None
        assert found.start_mark_m is not None
        assert said.start_mark_m < found.start_mark_m - 0.05
        assert "for it lies too far behind the line" in next_attempt.tell(found).text


class TestAGoodAim:
    NOT_MET = runs(0.06, lands_m=0.02, seed=9)

    def test_that_is_not_met_is_no_other_aim(self):
        assert practice_focus.work_out(self.NOT_MET).first == practice_focus.AIM

        found = in_training(self.NOT_MET)

        said = first_of(found)
        assert (said.planned, said.aim_m, said.start_mark_m) == (GOOD, None, None)
        assert isinstance(found.mark.advice, MarkAdvice)
        assert found.mark.advice.move_m == 0
        assert "The planned aim is good, but it is not met" in next_attempt.tell(found).text

    def test_is_cared_for_where_the_mark_moves(self):
        focus = practice_focus.work_out(self.NOT_MET)

        moved, stands = (
            aim_first.judge(focus, planned_aim_m=0.06, start_mark_m=34.2, mark_moves=each)
            for each in (True, False)
        )

        assert moved is None
        assert stands is not None

    @pytest.mark.parametrize("trouble", sorted(TROUBLES))
    def test_or_another_trouble_is_spoken_of_by_practice_focus_alone(self, trouble: str):
        run_ups = simulated(TROUBLES[trouble], [5] * 8, seed=1, marks=marks_of(TROUBLES["none"]))

        assert practice_focus.work_out(run_ups).first != practice_focus.AIM
        assert in_training(run_ups).aim_first is None


class TestAPlanWithTheBetterAim:
    @staticmethod
    def planned(run_ups: RunUps, aim_m: float) -> RunUps:
        (before,) = run_ups.marks.values()
        now = replace(
            before,
            id=uuid_of(1, 2),
            revision=2,
            start_mark_m=round(before.start_mark_m + aim_m - before.aim_m, 2),
            aim_m=aim_m,
        )
        return replace(run_ups, marks_now=now, marks={before.id: before, now.id: now})

    def test_is_not_asked_for_again(self):
        """Practice-focus asked for 8 cm; the plan has them now, and nobody ran under it yet."""
        asked = first_of(in_training(runs(0.0)))
        assert asked.aim_m is not None
        run_ups = self.planned(runs(0.0), asked.aim_m)

        focus, found = practice_focus.work_out(run_ups), in_training(run_ups)

        assert focus.first == practice_focus.NOTHING
        assert "The plan was changed after these attempts" in practice_focus.tell(focus).text
        assert (found.aim_m, found.aim_first) == (asked.aim_m, None)
        assert found.start_mark_m == asked.start_mark_m

    def test_that_is_no_better_is(self):
        run_ups = self.planned(runs(0.0), 0.01)

        assert practice_focus.work_out(run_ups).first == practice_focus.AIM
        assert first_of(in_training(run_ups)).planned == TOO_NEAR

    def test_is_any_farther_one_where_nobody_measured_distances(self):
        blind = replace(runs(0.0), official_m=np.full(36, np.nan))

        farther, nearer = (
            practice_focus.work_out(self.planned(blind, each)).first for each in (0.03, -0.03)
        )

        assert (farther, nearer) == (practice_focus.NOTHING, practice_focus.AIM)


class TestTell:
    @pytest.mark.parametrize(
        "run_ups",
        [
            runs(0.0),
            runs(0.20),
            TestAGoodAim.NOT_MET,
            replace(runs(0.0), official_m=np.full(36, np.nan)),
        ],
        ids=["near", "far", "good", "blind"],
    )
    def test_can_be_translated_whole(self, run_ups: RunUps, monkeypatch: pytest.MonkeyPatch):
        found = first_of(in_training(run_ups))
        monkeypatch.setattr("django.utils.translation._trans.gettext", lambda text: f"[{text}]")

        assert depth_0_of(aim_first.tell(found)).strip() == ""
        assert depth_0_of(aim_first.reason(found).text).strip() == ""
        assert depth_0_of(aim_first.would_change()).strip() == ""

    def test_says_nothing_of_a_mark_where_there_is_none(self):
        focus = practice_focus.work_out(runs(0.0))

        found = aim_first.judge(focus, planned_aim_m=0.0, start_mark_m=None, mark_moves=False)

        assert found is not None
        assert found.start_mark_m is None
        assert "run from" not in aim_first.tell(found)
