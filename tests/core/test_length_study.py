"""Steps against speed or distance: reference libraries, cases by hand, properties."""

import math

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from analytics.core import cautions, expected_gain, length_study
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.length_study import LengthStudy, NotEnoughStepCounts, Peak

NAN = float("nan")


def studied(steps, values, **options) -> LengthStudy:
    found = length_study.study_length(steps, values, **options)
    assert isinstance(found, LengthStudy)
    return found


def humped(*, peak: float, seed: int = 1, sd: float = 0.1) -> tuple[np.ndarray, np.ndarray]:
    steps = np.tile([8, 10, 12, 14, 16], 6)
    noise = np.random.default_rng(seed).normal(0, sd, steps.size)
    return steps, 6.0 - 0.03 * (steps - peak) ** 2 + noise


class TestGain:
    def test_is_that_of_a_reference_library(self):
        steps, values = humped(peak=17)

        found = studied(steps, values, steps_now=14)

        model = sm.OLS(values, np.column_stack([np.ones(30), steps, steps**2])).fit()
        reference = model.t_test([0, 2, 16**2 - 14**2])
        assert found.gain == pytest.approx(reference.effect[0])
        assert [found.gain_interval.low, found.gain_interval.high] == pytest.approx(
            reference.conf_int()[0]
        )
        assert found.probability_gain == pytest.approx(
            reference.pvalue / 2 if found.gain < 0 else 1 - reference.pvalue / 2
        )
        assert found.curvature == pytest.approx(model.params[2])
        assert [found.curvature_interval.low, found.curvature_interval.high] == pytest.approx(
            model.conf_int()[2]
        )
        assert found.residual_sd == pytest.approx(model.mse_resid**0.5)
        assert (found.from_steps, found.to_steps, found.beyond_tried) == (14, 16, False)

    def test_by_hand_on_an_exact_curve(self):
        # 9.3 - 0.02 (steps - 17)^2: from 14 to 16 it rises from 9.12 to 9.28.
        steps = np.repeat([8, 10, 12, 14], 3)

        found = studied(steps, 9.3 - 0.02 * (steps - 17.0) ** 2)

        assert found.gain == pytest.approx(0.16)
        assert (found.from_steps, found.to_steps, found.beyond_tried) == (14, 16, True)
        assert found.curvature == pytest.approx(-0.02)
        assert (found.fewest_steps, found.most_steps, found.n_step_counts) == (8, 14, 4)

    def test_of_a_good_day_is_not_that_of_its_steps(self):
        # Each day two lengths, the later days better by 0.2 m: nothing comes from the steps.
        steps = np.array([8, 10] * 3 + [10, 12] * 3 + [12, 14] * 3)
        day = np.repeat([0, 1, 2], 6)
        noise = 0.01 * np.tile([1, -1, -1, 1, 0, 0], 3)
        values = 5.0 + 0.2 * day + noise

        assert studied(steps, values).gain > 0.1
        apart = studied(steps, values, session=day)
        assert abs(apart.gain) < 0.02
        assert apart.n_sessions == 3

    def test_carries_the_caution(self):
        assert studied(*humped(peak=12)).caution == cautions.COACH_DECIDES

    def test_attempts_without_a_value_are_left_out(self):
        steps, values = humped(peak=12)
        more = studied(np.append(steps, [8, 99]), np.append(values, [NAN, NAN]))

        assert more == studied(steps, values)

    @pytest.mark.parametrize(("gain", "sure"), [(0.1, 1.0), (0.0, 0.0), (-0.1, 0.0)])
    def test_without_any_spread_is_plainly_so_or_not(self, gain, sure):
        steps = np.tile([8.0, 10, 12, 14], 3)
        values = np.tile([0.0, gain, 2 * gain, 3 * gain], 3)

        assert studied(steps, values).probability_gain == sure


class TestPeak:
    def test_is_shown_where_the_curve_turns_among_those_tried(self):
        found = studied(*humped(peak=12))

        assert found.peak is Peak.SHOWN
        assert found.curvature_interval.high < 0
        assert found.peak_steps == pytest.approx(12, abs=0.5)
        assert found.peak_steps is not None
        assert found.peak_interval is not None
        assert found.peak_interval.low < found.peak_steps < found.peak_interval.high

    def test_beyond_those_tried_has_no_number(self):
        found = studied(*humped(peak=19))

        assert found.peak is Peak.BEYOND_TRIED
        assert (found.peak_steps, found.peak_interval) == (None, None)

    def test_before_those_tried_has_no_number(self):
        assert studied(*humped(peak=5)).peak is Peak.BEYOND_TRIED

    def test_of_a_straight_line_is_not_shown(self):
        steps = np.tile([8, 10, 12, 14, 16], 6)
        values = 5 + 0.1 * steps + np.random.default_rng(2).normal(0, 0.1, 30)

        found = studied(steps, values)

        assert found.curvature_interval.high > 0
        assert (found.peak, found.peak_steps, found.peak_interval) == (Peak.NOT_SHOWN, None, None)

    def test_of_a_dip_is_not_shown(self):
        steps, values = humped(peak=12)

        assert studied(steps, -values).peak is Peak.NOT_SHOWN


class TestTooFew:
    def test_three_numbers_of_steps_are(self):
        found = length_study.study_length(np.repeat([8, 10, 12], 9), np.zeros(27))

        assert found == NotEnoughStepCounts(n=3, needed=4)
        assert str(found) == "not enough numbers of steps (3 of 4)"

    def test_numbers_that_no_session_compares_are(self):
        found = length_study.study_length(
            np.repeat([8, 10, 12, 14], 6), np.arange(24.0), session=np.repeat([1, 2, 3, 4], 6)
        )

        assert found == NotEnoughStepCounts(n=1, needed=4)

    def test_numbers_in_two_sets_count_for_one_less(self):
        steps, session = [8, 10] * 4 + [12, 14] * 4, np.repeat([1, 2], 8)

        found = length_study.study_length(steps, np.arange(16.0), session=session)

        assert found == NotEnoughStepCounts(n=3, needed=4)

    def test_seven_attempts_are_and_eight_are_not(self):
        steps = [8, 10, 12, 14, 8, 10, 12, 14]
        values = [1.0, 2, 2.5, 2.6, 1.1, 2.1, 2.4, 2.5]

        assert length_study.study_length(steps[:7], values[:7]) == NotEnoughAttempts(7, 8)
        assert studied(steps, values).n == 8

    def test_nothing_is(self):
        assert length_study.study_length([], []) == NotEnoughStepCounts(n=0, needed=4)

    @pytest.mark.parametrize(
        ("steps", "values", "options", "words"),
        [
            ([8, 10], [1.0], {}, "steps and values"),
            ([8.5, 10], [1.0, 2.0], {}, "whole and positive"),
            ([0, 10], [1.0, 2.0], {}, "whole and positive"),
            ([NAN, 10], [1.0, 2.0], {}, "whole and positive"),
            ([8, 10], [1.0, math.inf], {}, "infinite"),
            ([8, 10], [1.0, 2.0], {"level": 0.0}, "level"),
            ([8, 10], [1.0, 2.0], {"session": [1]}, "labels"),
        ],
    )
    def test_bad_input_is_refused(self, steps, values, options, words):
        with pytest.raises(ValueError, match=words):
            length_study.study_length(steps, values, **options)

    @pytest.mark.parametrize("steps_now", [6, 18])
    def test_a_present_length_that_was_not_tried_is_refused(self, steps_now: int):
        with pytest.raises(ValueError, match="steps_now must lie between 8 and 16"):
            length_study.study_length(*humped(peak=12), steps_now=steps_now)


class TestProperties:
    @given(
        values=st.lists(st.floats(0, 12), min_size=12, max_size=12),
        shift=st.floats(-5, 5),
        scale=st.floats(0.1, 10),
    )
    def test_a_unit_and_a_zero_change_nothing_but_the_unit(self, values, shift, scale):
        steps = np.tile([8, 10, 12, 14], 3)

        one = studied(steps, values)
        other = studied(steps, shift + scale * np.array(values))

        assert other.gain == pytest.approx(scale * one.gain, abs=1e-8)
        assert other.gain_interval.high == pytest.approx(scale * one.gain_interval.high, abs=1e-6)
        assert np.isfinite([one.gain, one.residual_sd, one.probability_gain]).all()
        assert one.gain_interval.low <= one.gain <= one.gain_interval.high


class TestExpectedGain:
    @pytest.mark.parametrize(
        ("max_speed", "tau", "shares"),
        [
            # Per cent of the maximum after 15, 20, 25, 30, 35 and 40 m: our table, computed apart.
            (10.0, 1.2, [88.1, 92.5, 95.2, 96.9, 98.0, 98.7]),
            (8.0, 1.1, [92.8, 96.1, 97.8, 98.8, 99.3, 99.6]),
        ],
    )
    def test_speed_is_that_of_the_table(self, max_speed, tau, shares):
        for far, share in zip(range(15, 45, 5), shares, strict=True):
            found = expected_gain.expect_gain(top_speed_mps=max_speed, rise_time_s=tau, run_m=far)
            assert 100 * found.speed_mps / max_speed == pytest.approx(share, abs=0.05)

    @pytest.mark.parametrize("run_m", [1e-3, 1.0, 20.0, 45.0])
    def test_speed_is_that_of_the_equation_of_motion(self, run_m: float):
        """``dv/dx = (M - v) / (tau v)``, solved by SciPy from the series near the start."""
        far = 1e-8
        start = 10 * math.sqrt(2 * far / 12)
        solved = integrate.solve_ivp(
            lambda _, v: (10 - v) / (1.2 * v),
            (far, run_m + 4.2),
            [start],
            t_eval=[run_m, run_m + 4.2],
            rtol=1e-10,
            atol=1e-12,
        ).y[0]

        found = expected_gain.expect_gain(top_speed_mps=10, rise_time_s=1.2, run_m=run_m)

        assert found.speed_mps == pytest.approx(solved[0], rel=1e-3)
        assert found.speed_gain_mps == pytest.approx(solved[1] - solved[0], rel=1e-3)
        assert found.distance_gain_m == pytest.approx(0.8 * found.speed_gain_mps)

    def test_interval_is_of_what_speed_is_worth(self):
        found = expected_gain.expect_gain(top_speed_mps=10, rise_time_s=1.2, run_m=20)

        assert found.distance_gain_interval.low == pytest.approx(
            found.speed_gain_mps * (0.8 - 1.959964 * 0.3)
        )
        assert found.distance_gain_interval.high == pytest.approx(
            found.speed_gain_mps * (0.8 + 1.959964 * 0.3)
        )
        assert found.caution == cautions.COACH_DECIDES

    @pytest.mark.parametrize("name", ["top_speed_mps", "rise_time_s", "run_m"])
    @pytest.mark.parametrize("number", [0.0, -1.0, NAN, math.inf])
    def test_no_sprint_is_refused(self, name: str, number: float):
        given_numbers = {"top_speed_mps": 10.0, "rise_time_s": 1.2, "run_m": 20.0, name: number}

        with pytest.raises(ValueError, match=name):
            expected_gain.expect_gain(**given_numbers)

    @given(
        max_speed=st.floats(3, 13),
        tau=st.floats(0.3, 3),
        run_m=st.floats(1e-12, 60),
        further_m=st.floats(0.01, 20),
    )
    def test_each_further_pair_brings_less(self, max_speed, tau, run_m, further_m):
        near, far = (
            expected_gain.expect_gain(top_speed_mps=max_speed, rise_time_s=tau, run_m=each)
            for each in (run_m, run_m + further_m)
        )

        assert 0 < near.speed_mps <= far.speed_mps <= max_speed
        assert 0 <= far.speed_gain_mps <= near.speed_gain_mps


@pytest.mark.slow
@pytest.mark.parametrize(
    ("shorter", "covered", "peaks"),
    [((10, 12, 14, 16), (0.78, 0.85), (0.18, 0.26)), ((12, 14, 16), (0.90, 0.96), (0.13, 0.21))],
)
def test_a_sprint_is_no_parabola(
    shorter: tuple[int, ...], covered: tuple[float, float], peaks: tuple[float, float]
):
    """What `docs/metrics/length_study.md` tells of a jumper whose speed rises as in a sprint.

    Distances are those of the simulator for a top speed of 9 m/s and 6.25 m from 18 steps, at
    0.8 m for each m/s: they go on growing, by 6 cm from 18 to 20 steps.
    """
    means = {10: 5.451, 12: 5.789, 14: 6.010, 16: 6.155, 18: 6.250}
    from_18_to_20_m = 0.062
    rng = np.random.default_rng(5)
    sessions = [[18] * 5 + ([*shorter] * 2 if number < 6 else []) for number in range(36)]
    steps = np.concatenate(sessions)
    session = np.repeat(np.arange(36), [len(each) for each in sessions])
    mean = np.array([means[int(each)] for each in steps])

    found = [
        studied(steps, mean + rng.normal(0, 0.18, steps.size), session=session, steps_now=18)
        for _ in range(1000)
    ]

    ends = np.array([(each.gain_interval.low, each.gain_interval.high) for each in found])
    holds = np.mean((ends[:, 0] <= from_18_to_20_m) & (from_18_to_20_m <= ends[:, 1]))
    false_peaks = np.mean([each.peak is Peak.SHOWN for each in found])
    assert covered[0] < holds < covered[1]
    assert peaks[0] < false_peaks < peaks[1]
