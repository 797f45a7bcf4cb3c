"""Accuracy at the board: by hand, on certified data, by properties, and on simulated attempts."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.core import accuracy, components
from analytics.core.conventions import NotEnoughAttempts
from tests.core.reference_tables import read_table

# NIST StRD, certified mean and standard deviation. Those of NumAcc1 to 4 are exact by construction.
CERTIFIED = {
    "Lew": (-177.435, 277.332168044316),
    "Lottery": (518.958715596330, 291.699727470969),
    "Mavro": (2.00185600000000, 0.000429123454003053),
    "Michelso": (299.852400000000, 0.0790105478190518),
}


def paired(centre: float) -> np.ndarray:
    """Return NumAcc2, 3 or 4: one centre value, then 500 pairs 0.1 below and above it."""
    return np.array([centre] + [round(centre - 0.1, 1), round(centre + 0.1, 1)] * 500)


def describe(toe: np.ndarray, **options) -> accuracy.Accuracy:
    result = accuracy.accuracy(toe, np.zeros(toe.size, dtype=bool), **options)
    assert isinstance(result, accuracy.Accuracy)
    return result


class TestByHand:
    def test_five_attempts(self):
        # Errors 0.10 -0.04 0.04 -0.10 0.00: mean 0, sum of squares 0.0232, SD sqrt(0.0058).
        result = accuracy.accuracy(
            [0.16, 0.02, 0.10, -0.04, 0.06], [False, False, False, True, False], aim_m=0.06
        )

        assert isinstance(result, accuracy.Accuracy)
        assert result.bias_m == pytest.approx(0.0, abs=1e-15)
        assert result.sd_m == pytest.approx(math.sqrt(0.0058))
        assert result.rmse_m == pytest.approx(math.sqrt(0.0232 / 5))
        # Median 0, absolute deviations 0 0.04 0.04 0.10 0.10.
        assert result.robust_sd_m == pytest.approx(1.4826 * 0.04)
        assert (result.n_on_board, result.n_no_jumps, result.n) == (4, 1, 5)
        # t(0.975, 4) = 2.77645 (printed table).
        assert result.bias_interval.high == pytest.approx(2.77645 * math.sqrt(0.0058 / 5), abs=1e-6)

    def test_two_revisions_are_centred_apart(self):
        toe = np.array([0.0, 0.1, 0.2, 1.0, 1.1, 1.2])

        result = describe(toe, revision=[1, 1, 1, 2, 2, 2])

        assert result.df == 4
        assert result.sd_m == pytest.approx(0.1)

    def test_the_error_is_against_the_aim_of_each_plan(self):
        result = describe(np.array([0.1, 0.1, 0.1, 0.2, 0.2]), aim_m=[0.1, 0.1, 0.1, 0.2, 0.2])

        assert result.bias_m == 0.0

    def test_both_edges_of_the_board_are_on_it(self):
        result = describe(np.array([0.0, 0.20, 0.2001, 0.1, 0.3]))

        assert result.n_on_board == 3


class TestShares:
    def test_are_of_all_attempts_no_jumps_included(self):
        nan = float("nan")

        result = accuracy.accuracy(
            [0.1, 0.1, 0.1, 0.1, 0.3, nan, nan, nan],
            [False, False, False, False, False, True, True, True],
        )

        assert isinstance(result, accuracy.Accuracy)
        assert result.n_unmeasured_no_jumps == 3
        assert result.share_on_board == 4 / 8
        assert result.share_no_jump == 3 / 8

    def test_only_a_no_jump_without_a_toe_is_an_unmeasured_one(self):
        nan = float("nan")

        # The fourth was measured beyond the line, the sixth nobody measured, the last is a gap.
        result = accuracy.accuracy(
            [0.1, 0.1, 0.1, -0.1, 0.1, nan, nan],
            [False, False, False, True, False, True, False],
        )

        assert isinstance(result, accuracy.Accuracy)
        assert (result.n_no_jumps, result.n_unmeasured_no_jumps) == (2, 1)

    def test_a_gap_does_not_count_as_off_the_board(self):
        result = accuracy.accuracy([0.1] * 5 + [float("nan")], [False] * 6)

        assert isinstance(result, accuracy.Accuracy)
        assert result.share_on_board == 1.0
        assert result.share_no_jump_interval.high < 1


class TestCertifiedData:
    @pytest.mark.parametrize("name", CERTIFIED)
    def test_agrees_with_the_certified_values(self, name: str):
        rows = read_table("nist_univariate")
        values = np.array([float(row["x"]) for row in rows if row["dataset"] == name])
        mean, sd = CERTIFIED[name]

        result = describe(values, aim_m=0.0)

        assert result.bias_m == pytest.approx(mean, rel=1e-14)
        assert result.sd_m == pytest.approx(sd, rel=1e-12)

    @pytest.mark.parametrize(
        ("values", "mean", "sd", "digits"),
        [
            # NumAcc1 has three values; twice the same three has variance 4 / 5.
            (np.array([10000001.0, 10000003.0, 10000002.0] * 2), 10000002.0, math.sqrt(0.8), 14),
            (paired(1.2), 1.2, 0.1, 14),
            (paired(1000000.2), 1000000.2, 0.1, 9),
            (paired(10000000.2), 10000000.2, 0.1, 8),
        ],
        ids=["NumAcc1 doubled", "NumAcc2", "NumAcc3", "NumAcc4"],
    )
    def test_keeps_the_digits_that_float64_allows(self, values, mean, sd, digits):
        result = describe(values, aim_m=0.0)

        assert result.bias_m == pytest.approx(mean, rel=1e-15)
        assert -math.log10(abs(result.sd_m / sd - 1) + 1e-17) >= digits


class TestNotEnough:
    def test_says_how_many_are_missing(self):
        result = accuracy.accuracy([0.1, 0.1, float("nan")], [False, False, True])

        assert str(result) == "not enough attempts (2 of 5)"

    def test_needs_one_more_for_each_further_revision(self):
        result = accuracy.accuracy([0.1] * 5, [False] * 5, revision=[1, 1, 1, 2, 2])

        assert result == NotEnoughAttempts(n=5, needed=6)

    def test_of_no_attempts_at_all(self):
        assert accuracy.accuracy([], np.empty(0, bool)) == NotEnoughAttempts(n=0, needed=5)

    def test_equal_toes_have_no_spread(self):
        result = describe(np.full(6, 0.1))

        assert result.sd_m == 0.0
        assert (result.sd_interval.low, result.sd_interval.high) == (0.0, 0.0)


toes = st.lists(st.floats(-0.5, 1.0), min_size=5, max_size=40).map(np.array)


class TestProperties:
    @given(toes, st.floats(-0.5, 0.5))
    def test_shifting_toes_and_aim_together_changes_no_error(self, toe, shift):
        near, far = describe(toe, aim_m=0.06), describe(toe + shift, aim_m=0.06 + shift)

        assert far.bias_m == pytest.approx(near.bias_m, abs=1e-12)
        assert far.sd_m == pytest.approx(near.sd_m, abs=1e-12)

    @given(toes, st.floats(-0.5, 0.5))
    def test_shifting_all_toes_shifts_the_bias_only(self, toe, shift):
        near, far = describe(toe), describe(toe + shift)

        assert far.bias_m == pytest.approx(near.bias_m + shift, abs=1e-12)
        assert far.sd_m == pytest.approx(near.sd_m, abs=1e-12)
        assert far.robust_sd_m == pytest.approx(near.robust_sd_m, abs=1e-12)

    @given(toes)
    def test_bias_and_spread_make_up_the_mean_square_error(self, toe):
        result = describe(toe)

        spread = result.sd_m**2 * result.df / result.n_measured
        assert result.rmse_m**2 == pytest.approx(result.bias_m**2 + spread, abs=1e-12)

    @given(toes, st.randoms(use_true_random=False))
    def test_finite_numbers_give_finite_numbers(self, toe, random):
        session = [random.randrange(4) for _ in toe]

        result = describe(toe, session=session)

        plain = [v for v in dataclasses.asdict(result).values() if isinstance(v, float)]
        assert all(math.isfinite(value) for value in plain)


class TestRecovery:
    def test_intervals_cover_as_often_as_they_say(self):
        rng = np.random.default_rng(5)
        results = [describe(rng.normal(0.10, 0.08, size=8)) for _ in range(1500)]

        bias = np.mean([r.bias_interval.low < 0.04 < r.bias_interval.high for r in results])
        sd = np.mean([r.sd_interval.low < 0.08 < r.sd_interval.high for r in results])

        assert bias == pytest.approx(0.95, abs=0.015)
        assert sd == pytest.approx(0.95, abs=0.015)

    def test_counting_sessions_repairs_the_interval_of_the_bias(self):
        # Eight sessions of six whose means differ by an SD of half of that within.
        rng = np.random.default_rng(6)
        session = np.repeat(np.arange(8), 6)
        plain, by_session = [], []
        for _ in range(1500):
            day = rng.normal(0, 0.04, size=8)[session]
            result = describe(0.06 + day + rng.normal(0, 0.08, size=48), session=session)
            plain.append(result.bias_interval.low < 0 < result.bias_interval.high)
            over = result.bias_interval_over_sessions
            assert over is not None
            by_session.append(over.low < 0 < over.high)

        assert np.mean(plain) < 0.90
        assert np.mean(by_session) == pytest.approx(0.95, abs=0.02)


class TestSessions:
    def test_one_way_analysis_of_variance_by_hand(self):
        # Sessions (1, 3), (5, 7), (3, 5): MW = 2, MB = 8, between^2 = (8 - 2) / 2 = 3.
        parts = components.spread_components([1.0, 3, 5, 7, 3, 5], [1, 1, 2, 2, 3, 3])

        assert isinstance(parts, components.SpreadComponents)
        assert parts.within_sd_m == pytest.approx(math.sqrt(2))
        assert parts.between_sd_m == pytest.approx(math.sqrt(3))
        assert parts.total_sd_m == pytest.approx(math.sqrt(5))
        assert parts.mean_standard_error_m == pytest.approx(math.sqrt(8 / 6))
        assert parts.mean_df == pytest.approx(2)

    @given(st.integers(0, 10_000))
    def test_mean_squares_are_those_of_scipys_f_test(self, seed: int):
        rng = np.random.default_rng(seed)
        counts = rng.integers(2, 7, size=4)
        session = np.repeat(np.arange(4), counts)
        values = rng.normal(size=session.size) + 3 * rng.normal(size=4)[session]

        parts = components.spread_components(values, session)

        assert isinstance(parts, components.SpreadComponents)
        f = stats.f_oneway(*[values[session == s] for s in range(4)]).statistic
        n0 = (counts.sum() - np.sum(counts**2) / counts.sum()) / 3
        expected = max(0.0, (f - 1) * parts.within_sd_m**2 / n0)
        assert parts.between_sd_m**2 == pytest.approx(expected, abs=1e-10)

    def test_too_few_sessions_are_said(self):
        parts = components.spread_components([0.1, 0.2, 0.3], [1, 1, 2])

        assert parts == NotEnoughAttempts(n=2, needed=3)

    def test_refuses_a_matrix(self):
        with pytest.raises(ValueError, match="one dimension"):
            components.spread_components([[0.1]], [1])
