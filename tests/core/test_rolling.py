"""Rolling figures: a plain recomputation, certified values, and what later attempts may change."""

import dataclasses
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from analytics.core import accuracy, rolling

NAN = float("nan")

toes = arrays.arrays(
    np.float64,
    st.integers(1, 60),
    elements=st.one_of(st.floats(-0.5, 1.0), st.just(NAN)),
)


def judged(toe: np.ndarray) -> np.ndarray:
    """Take every third missing toe for that of a no jump."""
    every_third: np.ndarray = np.isnan(toe) & (np.arange(toe.size) % 3 == 0)
    return every_third


def assert_same(ours: rolling.RollingFigures, theirs: rolling.RollingFigures, start: int) -> None:
    for field in dataclasses.fields(ours):
        left, right = getattr(ours, field.name)[start:], getattr(theirs, field.name)
        np.testing.assert_array_equal(left, right[-left.size :], err_msg=field.name)


class TestByHand:
    def test_a_window_of_three(self):
        figures = rolling.rolling_figures(
            [0.10, 0.06, NAN, 0.02], [False, False, True, False], window=3, min_valid=2
        )

        assert figures.n.tolist() == [1, 2, 3, 3]
        assert figures.n_measured.tolist() == [1, 2, 2, 2]
        # Errors 0.04 and 0.00: mean 0.02, SD 0.04 / sqrt 2; then 0.00 and -0.04.
        assert figures.bias_m == pytest.approx([NAN, 0.02, 0.02, -0.02], nan_ok=True)
        assert figures.sd_m[1:] == pytest.approx([0.04 / 2**0.5] * 3)
        assert figures.share_on_board == pytest.approx([NAN, 1.0, 2 / 3, 2 / 3], nan_ok=True)
        assert figures.share_no_jump == pytest.approx([NAN, 0.0, 1 / 3, 1 / 3], nan_ok=True)

    def test_restarts_at_a_plan_revision(self):
        figures = rolling.rolling_figures(
            [0.1, 0.1, 0.3, 0.3], [False] * 4, revision=[1, 1, 2, 2], window=4, min_valid=2
        )

        assert figures.n.tolist() == [1, 2, 1, 2]
        assert figures.bias_m == pytest.approx([NAN, 0.04, NAN, 0.24], nan_ok=True)

    def test_of_no_attempts_is_empty(self):
        assert rolling.rolling_figures([], np.empty(0, bool)).bias_m.size == 0


class TestAgainstReferences:
    @pytest.mark.parametrize(("window", "min_valid"), [(20, 5), (7, 2)])
    def test_equals_a_recomputation_with_pandas(self, window: int, min_valid: int):
        rng = np.random.default_rng(3)
        toe = rng.normal(0.06, 0.08, size=20_000)
        toe[rng.random(toe.size) < 0.2] = NAN
        revision = np.arange(toe.size) // 137

        figures = rolling.rolling_figures(
            toe, judged(toe), revision=revision, window=window, min_valid=min_valid
        )

        windows = pd.Series(toe - 0.06).groupby(revision).rolling(window, min_periods=min_valid)
        np.testing.assert_allclose(figures.bias_m, windows.mean(), atol=1e-12, rtol=0)
        np.testing.assert_allclose(figures.sd_m, windows.std(), atol=1e-12, rtol=0)

    def test_last_position_equals_the_accuracy_of_the_window(self):
        rng = np.random.default_rng(4)
        toe = rng.normal(0.06, 0.08, size=50)
        no_jump = toe < 0
        toe[rng.random(50) < 0.2] = NAN

        figures = rolling.rolling_figures(toe, no_jump)

        single = accuracy.accuracy(toe[-20:], no_jump[-20:])
        assert isinstance(single, accuracy.Accuracy)
        pairs = {
            "bias_m": single.bias_m,
            "bias_low_m": single.bias_interval.low,
            "bias_high_m": single.bias_interval.high,
            "sd_m": single.sd_m,
            "sd_low_m": single.sd_interval.low,
            "sd_high_m": single.sd_interval.high,
            "share_on_board": single.share_on_board,
            "share_on_board_low": single.share_on_board_interval.low,
            "share_no_jump_high": single.share_no_jump_interval.high,
            "n_measured": single.n_measured,
        }
        for name, expected in pairs.items():
            assert getattr(figures, name)[-1] == pytest.approx(expected, abs=1e-14), name

    @pytest.mark.parametrize(("centre", "digits"), [(1.2, 14), (1e6 + 0.2, 9), (1e7 + 0.2, 8)])
    def test_keeps_the_digits_that_float64_allows(self, centre: float, digits: int):
        # NIST StRD NumAcc2 to 4 are pairs 0.1 below and above a centre: any 20 of them in a row
        # have mean = centre and SD = 0.1 sqrt(20 / 19).
        values = np.array([round(centre - 0.1, 1), round(centre + 0.1, 1)] * 500)

        figures = rolling.rolling_figures(values, np.zeros(1000, bool), aim_m=0.0)

        expected = 0.1 * (20 / 19) ** 0.5
        assert np.abs(figures.sd_m[19:] / expected - 1).max() < 10.0**-digits
        assert np.abs(figures.bias_m[19:] / centre - 1).max() < 1e-15

    def test_an_outlier_leaves_no_trace_once_it_is_out_of_the_window(self):
        toe = np.tile([0.05, 0.07], 50)
        spoilt = toe.copy()
        spoilt[30] = 1e9

        clean = rolling.rolling_figures(toe, np.zeros(100, bool))
        after = rolling.rolling_figures(spoilt, np.zeros(100, bool))

        np.testing.assert_array_equal(after.sd_m[50:], clean.sd_m[50:])


class TestMeans:
    def test_counts_an_attempt_when_all_of_its_quantities_were_measured(self):
        values = [[1.0, 10.0], [2.0, NAN], [3.0, 30.0], [NAN, NAN], [5.0, 80.0]]

        moved = rolling.rolling_means(values, window=3, min_valid=2)

        assert moved.n.tolist() == [1, 1, 2, 1, 2]
        assert moved.mean[2].tolist() == [2.0, 20.0]
        assert moved.mean[4].tolist() == [4.0, 55.0]
        assert moved.sd[4] == pytest.approx([2**0.5, 50 / 2**0.5])
        assert np.isnan(moved.mean[[0, 1, 3]]).all()
        # One degree of freedom: half of 5 - 3 times 12.7062, of a table of t.
        assert moved.high[4, 0] - moved.mean[4, 0] == pytest.approx(12.7062, abs=1e-4)

    def test_of_one_quantity_has_its_shape(self):
        moved = rolling.rolling_means([1.0, 3.0], window=2, min_valid=2)

        assert moved.mean.shape == moved.low.shape == moved.sd.shape == (2,)
        assert moved.mean[1] == 2.0

    @pytest.mark.parametrize("shape", [(0,), (0, 2), (4, 0)])
    def test_of_nothing_is_nothing(self, shape):
        moved = rolling.rolling_means(np.empty(shape))

        assert moved.mean.shape == shape
        assert moved.n.shape == shape[:1]

    @pytest.mark.parametrize(("centre", "window"), [(1.2, 20), (1e6 + 0.2, 20), (1e7 + 0.2, 7)])
    def test_equals_exact_sums_on_values_large_against_their_spread(self, centre, window):
        # Pairs as in NIST StRD NumAcc2 to 4, with gaps, outliers and plan revisions; the reference
        # adds up fractions, which round nothing.
        rng = np.random.default_rng(11)
        values = np.where(np.arange(400) % 2, round(centre + 0.1, 1), round(centre - 0.1, 1))
        values[rng.random(400) < 0.1] = NAN
        values[[100, 101, 250]] = 1e9, -1e12, 1e7
        revision = np.arange(400) // 90

        moved = rolling.rolling_means(values, revision=revision, window=window, min_valid=2)

        for place in range(400):
            start = max(place - window + 1, 90 * (place // 90))
            seen = [Fraction(each) for each in values[start : place + 1] if not np.isnan(each)]
            assert moved.n[place] == len(seen)
            if len(seen) < 2:
                continue
            mean = sum(seen) / len(seen)
            sd = float(sum((each - mean) ** 2 for each in seen) / (len(seen) - 1)) ** 0.5
            assert moved.mean[place] == pytest.approx(float(mean), rel=1e-14)
            assert moved.sd[place] == pytest.approx(sd, rel=1e-12, abs=1e-12)

    def test_a_revision_of_a_single_attempt_ends_the_window(self):
        moved = rolling.rolling_means([1.0, 3.0, 9.0, 4.0, 6.0], revision=[1, 1, 2, 3, 3], window=4,
                                      min_valid=2)  # fmt: skip

        assert moved.n.tolist() == [1, 2, 1, 1, 2]
        assert moved.mean[[1, 4]].tolist() == [2.0, 5.0]

    @pytest.mark.parametrize("values", [[[[1.0]]], [float("inf")]])
    def test_refuses_other_shapes_and_infinite_values(self, values):
        with pytest.raises(ValueError, match=r"shape|infinite"):
            rolling.rolling_means(values)


class TestCounts:
    def test_restart_at_a_plan_revision(self):
        counts = rolling.window_counts([True, True, False, True], revision=[1, 1, 2, 2], window=3)

        assert counts.tolist() == [1, 2, 0, 1]

    def test_are_of_one_flag_for_each_attempt(self):
        with pytest.raises(ValueError, match="shape"):
            rolling.window_counts([[True]])


class TestProperties:
    @given(toes, st.integers(2, 12), st.data())
    def test_a_tail_gives_the_same_figures_as_the_whole(self, toe, window, data):
        position = data.draw(st.integers(0, toe.size - 1))
        revision = np.cumsum(
            data.draw(st.lists(st.booleans(), min_size=toe.size, max_size=toe.size))
        )
        start = max(0, position - window + 1)

        whole = rolling.rolling_figures(
            toe, judged(toe), revision=revision, window=window, min_valid=2
        )
        tail = rolling.rolling_figures(
            toe[start:], judged(toe)[start:], revision=revision[start:], window=window, min_valid=2
        )

        assert_same(whole, tail, position)

    @given(toes, st.floats(-0.5, 1.0))
    def test_a_later_attempt_changes_no_earlier_figure(self, toe, later):
        before = rolling.rolling_figures(toe, judged(toe), window=6, min_valid=2)

        after = rolling.rolling_figures(
            np.append(toe, later), np.append(judged(toe), False), window=6, min_valid=2
        )

        for field in dataclasses.fields(before):
            np.testing.assert_array_equal(
                getattr(after, field.name)[:-1], getattr(before, field.name)
            )

    @given(toes, st.floats(-0.3, 0.3))
    def test_shifting_all_distances_shifts_the_bias_only(self, toe, shift):
        near = rolling.rolling_figures(toe, judged(toe), window=6, min_valid=2)
        far = rolling.rolling_figures(toe + shift, judged(toe), window=6, min_valid=2)

        np.testing.assert_allclose(far.bias_m, near.bias_m + shift, atol=1e-12)
        np.testing.assert_allclose(far.sd_m, near.sd_m, atol=1e-12)

    @given(toes)
    def test_intervals_hold_their_estimate(self, toe):
        figures = rolling.rolling_figures(toe, judged(toe), window=8, min_valid=2)

        seen = ~np.isnan(figures.sd_m)
        assert np.all(figures.sd_low_m[seen] <= figures.sd_m[seen])
        assert np.all(figures.sd_m[seen] <= figures.sd_high_m[seen])
        assert np.all(figures.bias_low_m[seen] <= figures.bias_high_m[seen])

    def test_a_chunk_border_is_not_seen(self):
        rng = np.random.default_rng(8)
        toe = rng.normal(0.06, 0.08, size=40_000)

        whole = rolling.rolling_figures(toe, toe < 0)
        tail = rolling.rolling_figures(toe[32_740:], toe[32_740:] < 0)

        assert_same(whole, tail, 32_760)

    @pytest.mark.parametrize("columns", [1, 3])
    def test_a_chunk_border_is_not_seen_by_means(self, columns: int):
        # A chunk holds 32,768 values of all quantities together.
        rng = np.random.default_rng(9)
        values = rng.normal(9, 0.2, size=(40_000, columns))
        values[rng.random(40_000) < 0.1] = NAN
        start = 32_768 // columns - 40

        whole = rolling.rolling_means(values)
        tail = rolling.rolling_means(values[start:])

        np.testing.assert_array_equal(whole.mean[start + 19 :], tail.mean[19:])
        np.testing.assert_array_equal(whole.sd[start + 19 :], tail.sd[19:])


class TestRefusals:
    @pytest.mark.parametrize(
        "options", [{"window": 1}, {"min_valid": 1}, {"window": 4, "min_valid": 5}, {"level": 1.0}]
    )
    def test_of_options_that_make_no_sense(self, options):
        with pytest.raises(ValueError, match=r"window|min_valid|level"):
            rolling.rolling_figures([0.1], [False], **options)
