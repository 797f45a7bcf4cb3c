"""What no tape or clock can show: refused in words of our own, or answered, never passed on."""

import warnings
from collections.abc import Callable

import numpy as np
import pytest

from analytics.core import (
    believed_line,
    breaks,
    drills,
    length_conditions,
    length_study,
    next_attempts,
    profile_speeds,
    run_up_learning,
    run_up_model,
    runway_effects,
    shrinkage,
    speed_to_distance,
    sprint_curve,
    sprint_profile,
    take_off_area,
    todays_mark,
    usual_days,
    usual_sprints,
    warm_up,
    what_if,
    wind_table,
)
from analytics.core.run_up_model import Footfalls
from analytics.core.run_up_pace import LastThree
from analytics.core.run_up_steering import Habits
from analytics.core.simulator import Athlete
from analytics.core.todays_mark import Part, Reason

NAN, HUGE = float("nan"), 1e200
SPREAD = np.array([0.1, 0.7, 0.3, 0.9, 0.2, 0.6, 0.4, 0.8])
USUAL = believed_line.Belief(slope=0.8, slope_sd=0.3, attempt_sd=0.12)
RUNWAYS = ["a", "a", "b", "b", "c", "c", "d", "d"]
TOE = np.array([0.06, 2.06, 4.06, 6.06, 8.06])
MODEL = Footfalls(TOE, np.minimum.outer(np.arange(5), np.arange(5)) * 0.03**2)


def _speed(*, clock_sd_mps: float = 0.08, usual_m: float = 7.0) -> object:
    return speed_to_distance.speed_to_distance(
        6 + SPREAD,
        9 + SPREAD,
        session=[1] * 8,
        speed_sd_mps=clock_sd_mps,
        usual_distance_m=usual_m,
    )


def _gained(run_m: float) -> object:
    found = sprint_profile.fit_profile([5, 10, 20, 30], [1.32, 2.01, 3.21, 4.31])
    assert isinstance(found, sprint_profile.SprintProfile)
    return profile_speeds.speed_gained(found, run_m)


def _learn(mark_m: float, habits: Habits) -> object:
    attempts = run_up_learning.Attempts(np.tile(TOE, (5, 1)), start_mark_m=mark_m)
    return run_up_learning.learn_footfalls(MODEL, attempts, habits=habits)


@pytest.mark.filterwarnings("error")
class TestRefused:
    @pytest.mark.parametrize(
        ("ask", "words"),
        [
            (
                lambda: breaks.find_break(HUGE * np.tile(SPREAD, 2), rng=np.random.default_rng(1)),
                "beyond 1e",
            ),
            (lambda: length_study.study_length([8, 10, 12, 14] * 4, [HUGE] * 16), "beyond 1e"),
            (lambda: drills.compare_drill(HUGE * SPREAD, SPREAD), "beyond 1e"),
            (lambda: drills.runs_to_show(NAN, 0.1), "SDs must"),
            (lambda: drills.runs_to_show(0.1, 0.1, margin_m=0.0), "margin"),
            (lambda: usual_days.usual_day(HUGE * SPREAD, RUNWAYS, [False] * 8), "beyond 1e"),
            (lambda: runway_effects.runway_effects(HUGE * SPREAD, 0.1, RUNWAYS), "beyond 1e"),
            (lambda: runway_effects.runway_effects(SPREAD, 1e-200, RUNWAYS), "above 0"),
            (lambda: shrinkage.shrink_means(SPREAD, [1e-200] * 8), "above 0"),
            (lambda: shrinkage.shrink_means(HUGE * SPREAD, [0.1] * 8), "beyond 1e"),
            (lambda: believed_line.fit_line([HUGE, 1], [1, 2], belief=USUAL), "beyond 1e"),
            (
                lambda: believed_line.fit_line([], [], belief=believed_line.Belief(NAN, 0.3, 0.1)),
                "slope of a belief",
            ),
            (lambda: believed_line.mix([], []), "finite weight"),
            (lambda: wind_table.wind_table([], [], run_m=NAN, session=[]), "run_m"),
            (lambda: wind_table.wind_table([], [], run_m=HUGE, session=[]), "beyond 1e"),
            (lambda: _speed(clock_sd_mps=HUGE), "beyond 1e"),
            (lambda: _speed(usual_m=1e-300), "usual_distance_m"),
            (lambda: _speed(usual_m=1e300), "usual_distance_m"),
            (
                lambda: sprint_curve.time_to([1.0], top_speed_mps=1e-300, rise_time_s=1e-300),
                "top_speed_mps",
            ),
            (lambda: _gained(NAN), "run_m"),
            (lambda: usual_sprints.usual_step(9.0, 0.0), "speed and height"),
            (lambda: usual_sprints.usual_step(NAN, 1.7), "speed and height"),
            (lambda: take_off_area.official_distance([5.0], [0.5], depth_m=1e9), "depth_m"),
            (lambda: what_if.steadier(Athlete(), first_step=5, last_step=1, factor=HUGE), "factor"),
            (lambda: run_up_model.in_rhythm(TOE, LastThree(1.0, 1e-9, 1.0)), "twice"),
            (lambda: _learn(8.06, Habits(step_sd_m=0.0)), "SDs of gain and step"),
            (lambda: _learn(8.06, Habits(gain_sd=0.0)), "SDs of gain and step"),
            (lambda: _learn(8.06, Habits(start_sd_m=-1.0)), "SDs of start"),
            (lambda: _learn(0.0, Habits()), "behind the take-off line"),
            # The mark in feet: 26.4 instead of 8.06 m.
            (lambda: _learn(26.4, Habits()), "from its start mark"),
            (lambda: todays_mark.runway_part(NAN, effect_sd_m=0.1), "effect"),
            (
                lambda: todays_mark.growth_part(
                    25.0, height_then_m=1e-300, height_now_m=1e300, height_sd_m=0.0
                ),
                "no body grows",
            ),
            (
                lambda: warm_up.calibrate(
                    [0.1], start_mark_m=30.0, believed=warm_up.Believed(0.0, 0.0, 0.0, 0.0, 1e-200)
                ),
                "SDs",
            ),
            (
                lambda: length_conditions.aim_needed(next_attempts.known(0.06, 1e6)),
                "are these metres",
            ),
        ],
    )
    def test_in_words_of_our_own(self, ask: Callable[[], object], words: str):
        with pytest.raises(ValueError, match=words):
            ask()


class TestAnswered:
    @pytest.mark.parametrize("unit", [1e-9, 1e-3, 1e3, 1e9])
    @pytest.mark.parametrize("correction", list(sprint_profile.Correction))
    def test_splits_in_another_unit_make_a_profile_or_none(
        self, unit: float, correction: sprint_profile.Correction
    ):
        time_s = unit * np.array([1.32, 2.01, 2.63, 3.21, 4.31])

        found = sprint_profile.fit_profile([5, 10, 15, 20, 30], time_s, correction=correction)

        if isinstance(found, sprint_profile.SprintProfile):
            assert 0.1 <= found.top_speed_mps <= 100

    def test_parts_of_any_size_are_added(self):
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            mark = todays_mark.todays_mark(30.0, {Reason.DAY: Part(0.0, HUGE)})

        assert mark.sd_m == pytest.approx(HUGE)

    def test_a_slope_far_below_0_is_never_less_than_impossible(self):
        fall = np.arange(30.0)

        found = speed_to_distance.speed_to_distance(
            7 - 0.3 * fall, 9 + 0.1 * fall, session=[1] * 30, speed_sd_mps=0.08, usual_distance_m=7
        )

        assert found.probability_positive == 0.0

    def test_a_thousand_sessions_of_a_length_study_have_the_levels_taken_out(self):
        steps = np.tile([8.0, 10.0, 12.0, 14.0], 1000)
        rng = np.random.default_rng(1)
        session = np.repeat(np.arange(1000), 4)
        speed = 9.3 - 0.02 * (steps - 17) ** 2 + 0.1 * rng.standard_normal(1000)[session]

        found = length_study.study_length(
            steps, speed + 0.05 * rng.standard_normal(4000), session=session
        )

        assert isinstance(found, length_study.LengthStudy)
        assert found.lack_of_fit_p is not None
        # By hand 9.28 - 9.12 m/s; with 4,000 attempts known to about 0.01 m/s.
        assert found.gain == pytest.approx(0.16, abs=0.02)
        assert found.residual_sd == pytest.approx(0.05, rel=0.05)
        assert found.lack_of_fit_p > 0.001
