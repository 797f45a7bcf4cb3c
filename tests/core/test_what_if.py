"""What if: in closed form, by brute force, edges; the simulator's later habits."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.core import simulator, what_if
from analytics.core.simulator import Athlete
from analytics.core.what_if import expected_board, steadier

ME = Athlete()
NAN = float("nan")

# True toe-to-board distances of seed 3, made before the later habits existed.
BEFORE_LATER_HABITS = [0.0207635059, 0.0641119504, 0.040021443]


def compared(before: Athlete, after: Athlete, *, seed: int = 1, **options) -> what_if.WhatIf:
    return what_if.what_if(before, after, rng=np.random.default_rng(seed), **options)


def board(athlete: Athlete, *, sessions: int = 3000, seed: int = 1):
    return simulator.simulate(
        athlete, attempts_by_session=[6] * sessions, rng=np.random.default_rng(seed)
    ).true_board_m


class TestExpectedBoard:
    def test_by_hand(self):
        # Start 0.10 m, two steps that take back half of it, each with 0.03 m of its own and
        # half of 0.04 m of perception: 0.0025 + 0.0013, then a quarter of that + 0.0013.
        three = Athlete(
            n_steps=4,
            steering_from=0,
            start_sd_m=0.08,
            session_sd_m=0.06,
            step_sds_m=(0.03, 0.03, 0.0, 0.0),
            gains=(0.5, 0.5, 0.0, 0.0),
            perception_sd_m=0.04,
            mark_error_m=0.2,
            wind_sd_mps=0.0,
        )

        mean, sd = expected_board(three)

        assert mean == pytest.approx(0.06 + 0.05)
        assert sd**2 == pytest.approx((0.0025 + 0.0013) / 4 + 0.0013)

    @pytest.mark.parametrize(
        "athlete",
        [
            ME,
            replace(ME, steering_from=0, wind_sd_mps=1.5, mean_wind_mps=1.0),
            replace(ME, unsteady_steps=(16, 11), unsteady_sd_m=0.12, perception_sd_share=0.02),
            replace(ME, gains=(0.6,) * 3 + (0.0,) * 13, step_sds_m=(0.04,) * 16, persistence=0.5),
        ],
    )
    def test_is_what_the_simulator_makes(self, athlete):
        toe = board(athlete)

        mean, sd = expected_board(athlete)

        # Sessions share their day: 3,000 of them know the mean to sd / sqrt(3000) at worst.
        assert toe.mean() == pytest.approx(mean, abs=4 * sd / np.sqrt(3000))
        assert toe.std() == pytest.approx(sd, rel=0.04)

    @pytest.mark.parametrize(
        "change",
        [{"fatigue": 0.001}, {"fatigue_spread": 0.1}, {"growth": 0.001}, {"speed_cv": 0.01}],
    )
    def test_what_has_no_closed_form_is_refused(self, change):
        with pytest.raises(ValueError, match="closed form"):
            expected_board(replace(ME, **change))


class TestWhatIf:
    def test_the_share_of_no_jumps_is_that_of_the_closed_form(self):
        after = steadier(ME, first_step=5, last_step=1, factor=0.5)

        found = compared(ME, after).no_jump_share

        expected = [stats.norm.cdf(0, *expected_board(each)) for each in (ME, after)]
        # 12,000 attempts of 2,000 days: 0.006 at most.
        assert found.before == pytest.approx(expected[0], abs=0.018)
        assert found.after == pytest.approx(expected[1], abs=0.018)
        assert abs(found.change - (expected[1] - expected[0])) < 4 * found.monte_carlo_error
        assert found.interval.low < found.change < found.interval.high

    def test_its_error_is_how_far_seeds_differ(self):
        after = steadier(ME, first_step=16, last_step=1, factor=0.7)
        runs = [compared(ME, after, seed=seed, n_sessions=200).no_jump_share for seed in range(30)]

        spread = np.std([each.change for each in runs], ddof=1)
        # An SD of 30 is known to 13 %.
        assert spread == pytest.approx(np.mean([each.monte_carlo_error for each in runs]), rel=0.4)

    def test_the_same_luck_makes_small_changes_plain(self):
        after = replace(ME, perception_sd_m=0.035)
        paired = compared(ME, after, n_sessions=500).mean_square_error_m2
        one, two = (
            ((board(each, sessions=500, seed=seed) - 0.06) ** 2).reshape(500, 6).mean(axis=1)
            for each, seed in ((ME, 1), (after, 2))
        )

        apart = np.sqrt(one.var(ddof=1) / 500 + two.var(ddof=1) / 500)
        assert paired.monte_carlo_error < 0.4 * apart

    def test_no_change_changes_nothing_at_all(self):
        found = compared(ME, replace(ME), n_sessions=100)

        for figure in (found.no_jump_share, found.mean_square_error_m2, found.official_m):
            assert figure is not None
            assert (figure.change, figure.monte_carlo_error) == (0.0, 0.0)
        assert (found.n_sessions, found.n_attempts) == (100, 600)

    @pytest.mark.parametrize(
        ("after", "options", "words"),
        [
            (Athlete(n_steps=14), {}, "number of steps"),
            (ME, {"n_sessions": 99}, "100 sessions"),
            (ME, {"attempts_each": 0}, "1 attempt"),
        ],
    )
    def test_bad_input_is_refused(self, after, options, words):
        with pytest.raises(ValueError, match=words):
            compared(ME, after, **options)

    def test_who_never_jumps_validly_has_no_distance(self):
        found = compared(replace(ME, aim_m=-1.0), replace(ME, aim_m=-1.0), n_sessions=100)

        assert found.official_m is None
        assert found.no_jump_share.before == 1.0

    def test_errors_are_against_the_aim_of_the_plan(self):
        # Lands where he steers to, 0.06 m; the plan wants 0.10: bias squared comes on top.
        at_place = compared(ME, ME, n_sessions=200).mean_square_error_m2
        off_plan = compared(ME, ME, n_sessions=200, aims_m=(0.10, 0.10)).mean_square_error_m2

        mean = board(ME, sessions=200, seed=int(np.random.default_rng(1).integers(2**63))).mean()
        expected = at_place.before + (0.10 - mean) ** 2 - (0.06 - mean) ** 2
        assert off_plan.before == pytest.approx(expected)


class TestSteadier:
    def test_a_part_in_the_middle_leaves_the_start_alone(self):
        calm = steadier(ME, first_step=10, last_step=7, factor=0.5)

        assert calm.step_sds_m == (0.05,) * 6 + (0.025,) * 4 + (0.05,) * 6
        assert calm.start_sd_m == ME.start_sd_m

    def test_the_first_part_takes_the_start_along(self):
        assert steadier(ME, first_step=16, last_step=11, factor=0.5).start_sd_m == 0.03

    @pytest.mark.parametrize(
        ("first", "last", "factor"),
        [(17, 1, 0.5), (3, 4, 0.5), (3, 0, 0.5), (3, 1, -1), (3, 1, NAN)],
    )
    def test_bad_input_is_refused(self, first, last, factor):
        with pytest.raises(ValueError, match=r"steps|factor"):
            steadier(ME, first_step=first, last_step=last, factor=factor)


class TestLaterHabits:
    """What the simulator can do since it answers "what if"."""

    def test_habits_that_are_off_leave_the_attempts_of_a_seed_as_they_were(self):
        made = simulator.simulate(ME, attempts_by_session=[3], rng=np.random.default_rng(3))

        assert made.true_board_m == pytest.approx(BEFORE_LATER_HABITS, abs=1e-9)

    def test_habits_share_their_luck(self):
        """What one draws, the other draws: only the wind as read may differ here."""
        one = simulator.simulate(ME, attempts_by_session=[6], rng=np.random.default_rng(7))
        two = simulator.simulate(
            replace(ME, wind_reading_sd_mps=0.5),
            attempts_by_session=[6],
            rng=np.random.default_rng(7),
        )

        for field in fields(one):
            same = np.array_equal(
                getattr(one, field.name), getattr(two, field.name), equal_nan=True
            )
            assert same == (field.name != "wind_mps"), field.name

    def test_the_wind_is_read_as_badly_as_said(self):
        blown = replace(ME, wind_sd_mps=0.0, mean_wind_mps=1.0, wind_reading_sd_mps=0.4)
        made = simulator.simulate(blown, attempts_by_session=[4000], rng=np.random.default_rng(8))

        assert made.wind_mps.mean() == pytest.approx(1.0, abs=0.03)
        assert made.wind_mps.std() == pytest.approx(0.4, rel=0.05)

    def test_a_fast_run_lands_far_and_jumps_far(self):
        quick = replace(ME, speed_cv=0.02, steering_from=0, start_sd_m=0, session_sd_m=0)
        quick = replace(quick, step_sd_m=0, wind_sd_mps=0, time_cv=0, effective_sd_m=0)
        made = simulator.simulate(quick, attempts_by_session=[400], rng=np.random.default_rng(9))
        run = simulator.plan_run_up(quick)

        # Half of 2 % of the run-up's length; the foot lands the nearer to the pit.
        assert made.true_board_m.std() == pytest.approx(
            0.01 * (run.start_mark_m - run.toe_m[0]), rel=0.1
        )
        assert np.corrcoef(made.true_board_m, made.effective_m)[0, 1] < -0.99

    def test_tired_athletes_get_less_steady(self):
        tired = replace(
            ME, fatigue_spread=0.2, steering_from=0, start_sd_m=0, session_sd_m=0, wind_sd_mps=0
        )

        spread = board(tired, sessions=1500).reshape(1500, 6).std(axis=0)

        assert spread[5] / spread[0] == pytest.approx(2.0, rel=0.1)

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"step_sds_m": (0.05,) * 15}, "step_sds_m"),
            ({"step_sds_m": (-0.05,) * 16}, "step_sds_m"),
            ({"gains": (0.5,) * 17}, "gains"),
            ({"gains": (NAN,) * 16}, "gains"),
            ({"speed_cv": -0.1}, "speed_cv"),
            ({"fatigue_spread": -0.1}, "fatigue_spread"),
            ({"wind_reading_sd_mps": -0.1}, "wind_reading_sd_mps"),
            ({"perception_sd_share": -0.1}, "perception_sd_share"),
        ],
    )
    def test_habits_that_nobody_has_are_refused(self, change, words):
        with pytest.raises(ValueError, match=words):
            simulator.plan_run_up(replace(ME, **change))


class TestProperties:
    @settings(max_examples=25, deadline=None)
    @given(st.floats(0, 1), st.integers(1, 16), st.integers(1, 16))
    def test_less_unsteadiness_anywhere_never_spreads_more(self, factor, one, two):
        calm = steadier(ME, first_step=max(one, two), last_step=min(one, two), factor=factor)

        assert expected_board(calm)[1] <= expected_board(ME)[1] + 1e-12
