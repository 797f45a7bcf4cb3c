"""Warm-up: by hand, against statsmodels' filter and scikit-learn, edges, by simulation."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import DotProduct
from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

from analytics.core import todays_mark, warm_up
from analytics.core.todays_mark import Part, Reason
from analytics.core.warm_up import Believed, calibrate

NAN = float("nan")
BEFORE = Believed(bias_m=0.02, bias_sd_m=0.08, offset_m=0.03, offset_sd_m=0.02, error_sd_m=0.12)


class TestByHand:
    def test_one_two_and_three_run_throughs_with_a_known_offset(self):
        before = Believed(0.0, 0.10, offset_m=0.05, offset_sd_m=0.0, error_sd_m=0.10)

        found = calibrate([0.25, 0.05, 0.15], start_mark_m=30.0, believed=before)

        # Less the offset 0.20, 0.00, 0.10: a half, a third, a quarter of the sums.
        assert found.n.tolist() == [0, 1, 2, 3]
        assert found.bias_m == pytest.approx([0.0, 0.10, 0.2 / 3, 0.075])
        assert found.bias_sd_m == pytest.approx(0.10 / np.sqrt([1, 2, 3, 4]))
        assert found.move_m == pytest.approx([0.0, -0.10, -0.2 / 3, -0.075])
        assert found.start_mark_m.tolist() == [30.0, 29.9, 29.93, 29.92]
        # 97.5 % of a normal value lie below 1.959964 SDs.
        assert found.high_m - found.bias_m == pytest.approx(1.959964 * found.bias_sd_m, rel=1e-6)
        assert found.bias_m - found.low_m == pytest.approx(1.959964 * found.bias_sd_m, rel=1e-6)

    def test_the_offset_is_never_learned_from_run_throughs(self):
        before = dataclasses.replace(BEFORE, offset_sd_m=0.06)

        many = calibrate(np.zeros(10_000), start_mark_m=30.0, believed=before)

        # As if the bias had been looked at once, with the SD of the offset.
        assert many.bias_sd_m[-1] == pytest.approx(1 / np.hypot(1 / 0.08, 1 / 0.06), rel=1e-3)

    def test_what_is_less_than_anybody_sets_is_no_move(self):
        small = calibrate([0.06], start_mark_m=30.0, believed=BEFORE)
        large = calibrate([0.15], start_mark_m=30.0, believed=BEFORE)

        assert 0.02 < small.bias_m[1] < 0.03
        assert (small.move_m[1], small.start_mark_m[1]) == (0.0, 30.0)
        assert large.move_m[1] == -large.bias_m[1] < -0.03


class TestAgainstOthers:
    def test_the_same_as_the_filter_of_statsmodels(self):
        """Bias and offset as two states that do not move, seen as their sum."""
        error = np.array([0.17, -0.02, 0.11, 0.20])
        model = KalmanFilter(k_endog=1, k_states=2)
        model.bind(error[:, None].copy())
        model["design"] = np.ones((1, 2))
        model["obs_cov"] = np.array([[0.12**2]])
        model["transition"] = np.eye(2)
        model["selection"] = np.eye(2)
        model["state_cov"] = np.zeros((2, 2))
        model.initialize_known(np.array([0.02, 0.03]), np.diag([0.08**2, 0.02**2]))
        theirs = model.filter()

        found = calibrate(error, start_mark_m=30.0, believed=BEFORE)

        assert found.bias_m[1:] == pytest.approx(theirs.filtered_state[0])
        assert found.bias_sd_m[1:] ** 2 == pytest.approx(theirs.filtered_state_cov[0, 0])

    def test_the_same_as_a_bayesian_regression_of_scikit_learn(self):
        """Without an offset the bias is the one coefficient of a regression on ones."""
        error = np.array([0.17, -0.02, 0.11])
        before = Believed(0.0, 0.08, offset_m=0.0, offset_sd_m=0.0, error_sd_m=0.12)
        regression = GaussianProcessRegressor(
            kernel=DotProduct(sigma_0=1e-8, sigma_0_bounds="fixed"),
            alpha=(0.12 / 0.08) ** 2,
            optimizer=None,
        ).fit(np.ones((3, 1)), error / 0.08)
        theirs, their_sd = regression.predict(np.ones((1, 1)), return_std=True)

        found = calibrate(error, start_mark_m=30.0, believed=before)

        assert found.bias_m[-1] == pytest.approx(0.08 * theirs[0])
        assert found.bias_sd_m[-1] == pytest.approx(0.08 * their_sd[0])


class TestMovedMarks:
    def test_a_mark_that_was_moved_in_between_moved_the_errors(self):
        still = calibrate([0.20, 0.20, 0.20], start_mark_m=30.0, believed=BEFORE)
        moved = calibrate([0.20, 0.10, 0.10], start_mark_m=[30.0, 29.9, 29.9], believed=BEFORE)

        assert moved.bias_m == pytest.approx(still.bias_m)
        # 29.91 is only a centimetre from where the mark stands by then.
        assert still.start_mark_m[2] == 29.91
        assert moved.start_mark_m.tolist() == [*still.start_mark_m[:2], 29.9, 29.9]

    def test_a_mark_that_was_moved_stays_where_less_than_the_smallest_move_is_left(self):
        # Believed 0 +- 10 cm, run-throughs of SD 10 cm: halves, thirds of the errors' sums. The
        # first says 4 cm, so the mark moves to 29.96; both together say (8 + 0) / 3 = 2.7 cm.
        before = Believed(0.0, 0.10, offset_m=0.0, offset_sd_m=0.0, error_sd_m=0.10)

        found = calibrate([0.08, -0.04], start_mark_m=[30.0, 29.96], believed=before)

        assert found.bias_m[-1] == pytest.approx(0.08 / 3)
        assert found.start_mark_m.tolist() == [30.0, 29.96, 29.96]

    def test_what_was_learned_goes_into_the_sum(self):
        mark = todays_mark.todays_mark(
            30.0, {Reason.WIND: Part(0.09, 0.05), Reason.DAY: Part(0.0, 0.06)}
        )
        before = dataclasses.replace(BEFORE, bias_m=0.0, bias_sd_m=mark.sd_m)

        found = calibrate([0.25, 0.21], start_mark_m=mark.start_mark_m, believed=before)
        learned = todays_mark.learn(
            mark, bias_m=float(found.bias_m[-1]), bias_sd_m=float(found.bias_sd_m[-1])
        )

        assert learned.start_mark_m == found.start_mark_m[-1] < mark.start_mark_m


class TestEdges:
    def test_none_run_leaves_what_was_believed(self):
        found = calibrate([], start_mark_m=30.0, believed=BEFORE)

        assert (found.n.tolist(), found.bias_m.tolist(), found.bias_sd_m.tolist()) == (
            [0],
            [0.02],
            [0.08],
        )

    def test_one_that_was_not_measured_changes_nothing(self):
        found = calibrate([0.2, NAN, 0.1], start_mark_m=30.0, believed=BEFORE)

        assert found.n.tolist() == [0, 1, 1, 2]
        assert found.bias_m[2] == found.bias_m[1]
        assert (
            found.bias_m[3] == calibrate([0.2, 0.1], start_mark_m=30.0, believed=BEFORE).bias_m[2]
        )

    def test_a_mark_that_is_known_exactly_is_not_moved(self):
        sure = dataclasses.replace(BEFORE, bias_m=0.0, bias_sd_m=0.0)

        assert calibrate([0.5], start_mark_m=30.0, believed=sure).move_m.tolist() == [0.0, 0.0]

    @pytest.mark.parametrize(
        ("error", "mark", "change", "words"),
        [
            ([[0.1]], 30.0, {}, "one dimension"),
            ([0.1], [30.0, 30.0], {}, "one dimension"),
            ([], [], {}, "one mark"),
            ([0.1], NAN, {}, "start_mark_m must be finite"),
            ([float("inf")], 30.0, {}, "infinite"),
            ([0.1], 30.0, {"error_sd_m": 0.0}, "SDs"),
            ([0.1], 30.0, {"bias_sd_m": -0.1}, "SDs"),
            ([0.1], 30.0, {"offset_sd_m": NAN}, "SDs"),
            ([0.1], 30.0, {"offset_m": NAN}, "believed"),
        ],
    )
    def test_bad_input_is_refused(self, error, mark, change, words):
        with pytest.raises(ValueError, match=words):
            calibrate(error, start_mark_m=mark, believed=dataclasses.replace(BEFORE, **change))


class TestSimulatedDays:
    def test_moving_by_the_belief_beats_moving_by_the_last_error(self):
        """The figures of the page: what is left after one, two, three run-throughs."""
        rng = np.random.default_rng(5)
        before = Believed(0.0, 0.08, offset_m=0.0, offset_sd_m=0.0, error_sd_m=0.12)
        bias = rng.normal(0, 0.08, size=4000)
        error = bias[:, None] + rng.normal(0, 0.12, size=(4000, 3))

        left = np.array(
            [
                true + calibrate(seen, start_mark_m=30.0, believed=before).move_m
                for true, seen in zip(bias, error, strict=True)
            ]
        )

        # Standard error of an SD from 4,000: 1.1 %. That of the belief, and the small moves that
        # are not made: 3 cm and less.
        spread = np.sqrt(np.mean(left**2, axis=0))
        assert spread == pytest.approx([0.08, 0.0666, 0.0582, 0.0524], rel=0.05)
        assert np.sqrt(np.mean((bias - error[:, 2]) ** 2)) == pytest.approx(0.12, rel=0.04)


class TestProperties:
    @given(
        st.lists(st.one_of(st.just(NAN), st.floats(-1, 1)), max_size=8),
        st.floats(-0.2, 0.2),
        st.floats(0, 0.3),
        st.floats(0, 0.3),
    )
    def test_mirrored_errors_mirror_the_belief_and_doubt_never_grows(
        self, error, offset, offset_sd, bias_sd
    ):
        before = Believed(0.0, bias_sd, offset, offset_sd, error_sd_m=0.12)

        found = calibrate(error, start_mark_m=30.0, believed=before)
        mirrored = calibrate(
            -np.array(error),
            start_mark_m=30.0,
            believed=dataclasses.replace(before, offset_m=-offset),
        )

        assert mirrored.bias_m == pytest.approx(-found.bias_m, abs=1e-12)
        assert np.all(np.diff(found.bias_sd_m) <= 1e-15)
        assert np.isfinite([found.low_m, found.high_m, found.start_mark_m]).all()
        assert np.all((found.move_m == 0) | (np.abs(found.move_m) >= warm_up.SMALLEST_MOVE_M))
