"""Answers about the same run-up, held against each other: none may say what another denies."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from analytics.answers import (
    aim,
    growing,
    mark_advice,
    next_attempt,
    outlook,
    practice_focus,
    warm_up,
    wind_table,
)
from analytics.core.aim import AimAdvice
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.diagnosis import Diagnosis, Trouble
from analytics.core.mark_advice import MarkAdvice, MarkAnswer
from analytics.core.outlook import Outlook
from analytics.core.simulator import Athlete
from analytics.core.warm_up import WarmUp
from analytics.core.wind import felt_wind, usual_wind_slope
from analytics.core.wind_table import WindTable
from analytics.selectors import Body, CheckMark, RunUps
from tests.answers.run_ups import (
    STARTED_AT,
    make_marks,
    make_run_ups,
    marks_of,
    simulated,
    uuid_of,
)
from tests.core.troubles import TROUBLES

PLAN = marks_of(TROUBLES["none"])
PLAN_DAY = STARTED_AT.date().toordinal() - 100
TODAY = STARTED_AT.date().toordinal() + 1


def body_with(*heights: tuple[int, float], **fields: Any) -> Body:
    """Return what is known of an athlete whose heights were read so many days after the plan."""
    return Body(
        **{
            "today": TODAY,
            "age_years": 14.0,
            "event": "long_jump",
            "steps": 16,
            "plan_day": PLAN_DAY,
            "heights": tuple((PLAN_DAY + day, height_m) for day, height_m in heights),
            "jumps": (),
            "going_on": frozenset(),
            **fields,
        }
    )


GREW = body_with((0, 1.60), (90, 1.63))
DID_NOT_GROW = body_with((0, 1.60), (90, 1.602))


def advice_of(found: mark_advice.Mark) -> MarkAdvice:
    assert isinstance(found.advice, MarkAdvice)
    return found.advice


class TestGrowth:
    @pytest.mark.parametrize("trouble", sorted(TROUBLES))
    @pytest.mark.parametrize("seed", [1, 2, 3])
    def test_is_the_same_to_practice_and_to_the_mark(self, trouble: str, seed: int):
        run_ups = simulated(TROUBLES[trouble], [5] * 8, seed=seed, marks=PLAN)

        focus, mark = practice_focus.work_out(run_ups), mark_advice.work_out(run_ups)

        assert isinstance(focus.diagnosis, Diagnosis)
        shown = {each.trouble for each in focus.diagnosis.findings if each.shown}
        assert focus.growing == mark.growing
        assert focus.growing.by_line is (Trouble.GROWTH in shown)
        said = "Take all marks anew, check marks as well"
        assert (said in practice_focus.tell(focus).text) is focus.growing.outgrown
        assert (said in mark_advice.tell(mark).text) is focus.growing.outgrown

    def test_by_feet_takes_the_check_mark_anew_as_well(self):
        found = mark_advice.work_out(simulated(TROUBLES["growth"], [5] * 8, seed=1, marks=PLAN))

        assert advice_of(found).answer is MarkAnswer.MOVE
        said = mark_advice.tell(found)
        assert "The check mark stays where it is" not in said.text
        assert "That is what growth does: measure height, too." in said.text
        assert "outgrown" in {each.code for each in said.reasons}

    def test_by_height_alone_is_said_by_both_with_its_size(self):
        run_ups = simulated(TROUBLES["none"], [5] * 8, seed=1, marks=PLAN)

        focus = practice_focus.work_out(run_ups, body=GREW)
        mark = mark_advice.work_out(run_ups, body=GREW)

        said = growing.tell(mark.growing)
        assert "the athlete has grown by 3.0 cm since they were set" in said
        assert practice_focus.tell(focus).text.startswith(said)
        assert mark_advice.tell(mark).text.endswith(said)
        assert mark.growing.since_date == (STARTED_AT.date() - timedelta(days=10)).isoformat()

    def test_is_not_what_faster_feet_are_called_where_heights_deny_it(self):
        run_ups = simulated(TROUBLES["growth"], [5] * 8, seed=1, marks=PLAN)

        focus = practice_focus.work_out(run_ups, body=DID_NOT_GROW)

        assert (focus.growing.by_height, focus.growing.by_line) == (False, True)
        assert "Heights show no growth: who gets faster" in practice_focus.tell(focus).text
        assert isinstance(focus.diagnosis, Diagnosis)
        shown = {each.trouble for each in focus.diagnosis.findings if each.shown}
        assert Trouble.LONGER_LATER in shown
        assert Trouble.GROWTH not in shown

    def test_is_over_once_the_marks_were_set_anew(self):
        """Of the marks of now nobody knows anything yet: no answer asks for them anew again."""
        since = marks_of(TROUBLES["none"], revision=2, start_mark_m=PLAN.start_mark_m + 0.4)
        run_ups = replace(
            simulated(TROUBLES["growth"], [5] * 8, seed=1, marks=PLAN),
            marks_now=since,
            marks={PLAN.id: PLAN, since.id: since},
        )

        focus, mark = practice_focus.work_out(run_ups), mark_advice.work_out(run_ups)

        assert not focus.growing.outgrown
        assert practice_focus.tell(focus).text.startswith("The marks were set anew after these")
        assert "anew, check marks as well" not in mark_advice.tell(mark).text

    def test_makes_the_mark_listen_to_the_attempts_after_it(self):
        """A body that grew may land elsewhere at once: older attempts say little of it."""
        rng = np.random.default_rng(1)
        toe = np.full((18, 17), np.nan)
        toe[:, 0] = 0.06 + rng.normal(0, 0.03, 18) - np.repeat([0.0, 0.10], [14, 4])
        run_ups = make_run_ups(toe, session=[0] * 14 + [1] * 4)
        days = [STARTED_AT - timedelta(days=40)] * 14 + [STARTED_AT] * 4
        run_ups = replace(run_ups, started_at=days)
        grew = body_with((0, 1.60), (95, 1.63))

        heard, unheard = (
            advice_of(mark_advice.work_out(run_ups, body=each)).board.mean_m
            for each in (grew, DID_NOT_GROW)
        )

        assert heard < unheard - 0.01


class TestTheAim:
    AT_THE_LINE = Athlete(unmeasured_no_jump_share=0.0, aim_m=0.0)

    def test_is_what_practice_points_to_where_it_alone_is_wrong(self):
        marks = marks_of(self.AT_THE_LINE, aim_m=0.0)
        run_ups = simulated(self.AT_THE_LINE, [6] * 6, seed=3, marks=marks)
        advice, ahead = aim.work_out(run_ups), outlook.work_out(run_ups).outlook

        focus = practice_focus.work_out(run_ups)

        assert isinstance(focus.diagnosis, Diagnosis)
        assert focus.diagnosis.main is None
        assert isinstance(advice.aim, AimAdvice)
        assert isinstance(ahead, Outlook)
        assert ahead.probability_no_jump > 0.3
        said = practice_focus.tell(focus)
        assert said.text.startswith("Put the aim right first")
        assert [each for each in said.reasons if each.code in {"aim", "habit"}] == list(
            aim.tell(advice).reasons
        )

    def test_is_asked_of_the_outlook_where_nobody_measured_distances(self):
        marks = marks_of(self.AT_THE_LINE, aim_m=0.0)
        run_ups = simulated(self.AT_THE_LINE, [6] * 6, seed=3, marks=marks)
        run_ups = replace(run_ups, official_m=np.full(36, np.nan))

        focus = practice_focus.work_out(run_ups)

        ahead = outlook.work_out(run_ups).outlook
        assert isinstance(ahead, Outlook)
        assert focus.probability_no_jump == ahead.probability_no_jump
        assert "Aim farther behind the line" in practice_focus.tell(focus).text

    @pytest.mark.parametrize("seed", range(6))
    def test_is_never_called_wrong_that_the_aim_itself_calls_good(self, seed: int):
        run_ups = simulated(TROUBLES["none"], [6] * 6, seed=seed, marks=PLAN)
        best = aim.work_out(run_ups).aim
        focus = practice_focus.work_out(run_ups)
        assert isinstance(best, AimAdvice)
        assert isinstance(focus.diagnosis, Diagnosis)

        said = practice_focus.tell(focus).text

        nothing_else = focus.diagnosis.main is None and not focus.growing.outgrown
        named = f"aim {100 * best.fixed.aim_m:.0f} cm behind the line is worth" in said
        assert named is (nothing_else and not aim.is_good_now(best))

    def test_that_loses_less_than_counts_is_named_last(self):
        """From 5 cm to 8 cm behind the line 2 cm are won: of 5.80 m 7 cm would count (1.2 %)."""
        found = practice_focus.work_out(simulated(TROUBLES["none"], [5] * 8, seed=1, marks=PLAN))

        said = practice_focus.tell(found).text

        assert said.startswith("These attempts show nothing that should be put right first.")
        assert said.endswith("is worth 2 cm on the mean of a competition.")


class TestTheWind:
    @staticmethod
    def blown(wind_mps: Any, *, by_usual: float, seed: int = 1) -> RunUps:
        """Return attempts whose foot the wind moves by so many times the usual."""
        wind = np.asarray(wind_mps, dtype=np.float64)
        n, at_m = wind.size, 13.0
        rng = np.random.default_rng(seed)
        toe = np.full((n, 17), np.nan)
        for footfall, place in ((0, 0.06), (6, at_m)):
            slope = by_usual * float(usual_wind_slope(34.20 - place))
            toe[:, footfall] = place + slope * felt_wind(wind) + rng.normal(0, 0.02, n)
        marks = make_marks(check_marks=(CheckMark(6, at_m),))
        return make_run_ups(
            toe,
            marks=marks,
            session=(np.arange(n) // 6).tolist(),
            wind_mps=wind,
            no_jump=np.zeros(n, bool),
        )

    WINDS = np.tile([-3.0, -1.0, 0.0, 1.0, 2.0, 4.0], 6)

    def test_is_taken_out_by_the_athletes_own_table(self):
        run_ups = self.blown(self.WINDS, by_usual=2.5)
        table = wind_table.work_out(run_ups).table
        assert isinstance(table, WindTable)

        found = mark_advice.work_out(run_ups)

        assert found.wind.own_share == table.own_share > 0.5
        assert found.wind.by_usual == pytest.approx(table.slope_m / table.usual_slope_m)
        assert found.wind.by_usual == pytest.approx(2.5, abs=0.25)
        # Freed of what this wind does to this athlete, only the 2 cm that were put in are left.
        assert advice_of(found).check is not None
        assert advice_of(found).check.error_sd_m < 0.06  # type: ignore[union-attr]
        said = mark_advice.tell(found).reasons[-1]
        assert said.code == "wind"
        assert "by this athlete's own wind table" in said.text

    def test_is_taken_out_by_what_is_usual_where_the_table_knows_little(self):
        run_ups = self.blown([2.0] * 6, by_usual=1.0)

        found = mark_advice.work_out(run_ups)

        assert found.wind.own_share < 0.5
        assert "by what is usual" in mark_advice.tell(found).reasons[-1].text

    def test_of_a_day_stays_out_of_the_plan(self):
        """On the last day the mark stood 17 cm farther back for 2 m/s, and all was met."""
        shift = -float(usual_wind_slope(34.20 - 13.0)) * float(felt_wind(2.0))
        run_ups = self.blown([0.0] * 18 + [2.0] * 6, by_usual=1.0)
        run_ups.toe_m[18:] += shift
        run_ups.start_mark_m[18:] += round(shift, 2)

        plan = mark_advice.work_out(run_ups)
        session = run_ups.session_ids[-1]
        ahead = next_attempt.work_out(run_ups, session=session, contest=None)

        assert shift > 0.03
        assert advice_of(plan).start_mark_m == 34.20
        assert advice_of(plan).answer is not MarkAnswer.MOVE
        assert (ahead.wind_mps, ahead.wind_moves_m) == (2.0, round(shift, 2))
        assert ahead.start_mark_m == pytest.approx(34.20 + shift, abs=0.006)
        assert "That is the mark for still air" in mark_advice.tell(plan).text

    def test_moves_a_mark_only_once(self):
        """A wrong mark in a steady tail wind: the plan moves by the error in still air alone."""
        run_ups = self.blown(np.tile([2.0, 1.5, 2.5], 8), by_usual=1.0)
        run_ups.toe_m[:, [0, 6]] += 0.25

        unread = replace(run_ups, wind_mps=np.full(24, np.nan))

        plan, blown = (advice_of(mark_advice.work_out(each)) for each in (run_ups, unread))

        # A fresh mark is believed to be right, give or take 0.12 m, so not all of it is moved.
        assert plan.answer is blown.answer is MarkAnswer.MOVE
        assert plan.start_mark_m == pytest.approx(34.20 - 0.25, abs=0.05)
        assert blown.start_mark_m - plan.start_mark_m > 0.02

    def test_is_the_same_to_the_warm_up(self):
        run_ups = self.blown(self.WINDS, by_usual=2.5)
        here = replace(
            self.blown([2.0], by_usual=2.5), session_ids=[uuid_of(4, 99)], ids=[uuid_of(5, 1)]
        )

        found = warm_up.work_out(here, run_ups, session=uuid_of(4, 99))

        table = wind_table.work_out(run_ups).table
        assert isinstance(table, WindTable)
        (wind,) = [each for each in found.parts if each.reason == "wind"]
        assert wind.move_m == pytest.approx(-table.slope_m * float(felt_wind(2.0)))


class TestAnAimInACompetition:
    def test_is_in_the_next_mark_once_however_often_it_was_run_from(self):
        """The plan's mark is right. Two attempts were run for an aim 14 cm farther back."""
        toe = np.full((14, 17), np.nan)
        toe[:, 0] = 0.06 + np.tile([0.02, -0.02], 7) + np.repeat([0.0, 0.14], [12, 2])
        marks = np.full(14, 34.20) + np.repeat([0.0, 0.14], [12, 2])
        run_ups = make_run_ups(
            toe,
            session=[0] * 6 + [1] * 6 + [2] * 2,
            start_mark_m=marks,
            official_m=np.tile([5.70, 5.80, 5.75, 5.60, 5.90, 5.85, 5.65], 2),
        )
        last = next_attempt.Contest(5, attempts_left=1, cut_waits=False, best_m=None, cut_m=None)

        found = next_attempt.work_out(run_ups, session=run_ups.session_ids[-1], contest=last)

        assert advice_of(found.mark).start_mark_m == 34.20
        assert found.aim_moves_m >= 0
        assert found.start_mark_m == pytest.approx(34.20 + found.aim_moves_m)


class TestAMarkThatWasMovedByHand:
    def test_today_is_asked_about_where_nobody_wrote_a_wind_down(self):
        toe = np.full((12, 17), np.nan)
        toe[:, 0] = 0.06 + np.tile([0.02, -0.02, 0.0], 4)
        marks = np.repeat([34.20, 34.34], [11, 1])
        run_ups = make_run_ups(toe, start_mark_m=marks, session=[0] * 11 + [1])

        found = next_attempt.work_out(run_ups, session=run_ups.session_ids[-1], contest=None)

        assert found.start_mark_m == 34.20
        assert "The last attempt began at 34.34 m: if the mark was moved for a wind" in (
            next_attempt.tell(found).text
        )

    def test_is_called_a_plan_that_is_behind(self):
        """Everybody runs from 34.08 and meets the board: the plan still says 34.20."""
        toe = np.full((12, 17), np.nan)
        toe[:, 0] = 0.06 + np.tile([0.02, -0.02, 0.0], 4)
        run_ups = make_run_ups(toe, start_mark_m=np.full(12, 34.08))

        found = mark_advice.work_out(run_ups)

        assert advice_of(found).answer is MarkAnswer.MOVE
        assert advice_of(found).start_mark_m == pytest.approx(34.08, abs=0.02)
        assert "it is the plan that is behind" in mark_advice.tell(found).text


class TestTheWarmUp:
    SESSION = uuid_of(4, 99)

    def attempts(self, errors_m: list[float], **fields: Any) -> RunUps:
        toe = 0.06 + 2.0 * np.arange(17) + np.zeros((len(errors_m), 1))
        toe[:, 6] = 13.0 + np.asarray(errors_m)
        marks = make_marks(check_marks=(CheckMark(6, 13.0),))
        made = make_run_ups(toe, marks=marks, **fields)
        return replace(made, session_ids=[self.SESSION] * len(errors_m))

    def test_is_todays_mark_before_the_first_jump(self):
        warming = warm_up.work_out(
            self.attempts([0.20, 0.24]), self.attempts([]), session=self.SESSION
        )
        assert isinstance(warming.calibration, WarmUp)

        found = next_attempt.work_out(
            self.attempts([]), session=self.SESSION, contest=None, warming=warming
        )

        assert found.start_mark_m == float(warming.calibration.start_mark_m[-1]) < 34.20
        said = next_attempt.tell(found).text
        assert "from 2 run-throughs and 0 jumps of this day" in said
        assert "the plan stays as it is" in said

    def test_is_one_belief_with_the_jumps_after_it(self):
        """Normal beliefs: precisions add, means are weighed by them."""
        warming = warm_up.work_out(
            self.attempts([0.20, 0.24]), self.attempts([]), session=self.SESSION
        )
        assert isinstance(warming.calibration, WarmUp)
        prior, sd = (
            float(each[-1]) for each in (warming.calibration.bias_m, warming.calibration.bias_sd_m)
        )
        jumps = [0.10, 0.02, 0.06]

        found = next_attempt.work_out(
            self.attempts(jumps), session=self.SESSION, contest=None, warming=warming
        )

        weights = np.array([1 / sd**2, *[1 / warming.error_sd_m**2] * 3])
        by_hand = float(np.average([prior, *jumps], weights=weights))
        assert found.today is not None
        assert (found.today.n_run_throughs, found.today.n_jumps) == (2, 3)
        assert found.today.start_mark_m == pytest.approx(34.20 - by_hand, abs=0.006)
        assert found.today.bias_sd_m == pytest.approx(weights.sum() ** -0.5)
        # To the centimetre, nothing is left from there.
        assert found.today.bias_m == pytest.approx(0, abs=0.006)

    def test_begins_from_where_other_days_say_that_the_mark_belongs(self):
        """Twelve jumps of other days landed 0.25 m short: the warm-up begins nearer the pit."""
        past = simulated(replace(TROUBLES["none"], mark_error_m=0.25), [6, 6], seed=1, marks=PLAN)
        here = replace(past[:0], session_ids=[])

        found = warm_up.work_out(here, past, session=self.SESSION)

        advised = advice_of(mark_advice.work_out(past))
        assert advised.answer is MarkAnswer.MOVE
        moved = {each.reason: each.move_m for each in found.parts}
        assert moved["plan"] == pytest.approx(advised.move_m)
        assert isinstance(found.calibration, WarmUp)
        by_wind = moved.get("wind", 0.0)
        assert float(found.calibration.start_mark_m[0]) == pytest.approx(
            advised.start_mark_m + by_wind, abs=0.011
        )

    def test_that_was_not_measured_leaves_the_advice_of_the_jumps(self):
        warming = warm_up.work_out(
            self.attempts([float("nan")]), self.attempts([]), session=self.SESSION
        )

        found = next_attempt.work_out(
            self.attempts([]), session=self.SESSION, contest=None, warming=warming
        )

        assert found.today is None
        assert isinstance(found.mark.advice, NotEnoughAttempts)
        assert found.start_mark_m == 34.20
