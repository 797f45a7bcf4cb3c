"""How sure it is that the spread is small: against the chi-square and sums over a fine grid."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.core import board_spread, conventions, next_attempts, session_effects
from analytics.core.baselines import PRIOR_BETWEEN_SHARE
from analytics.core.next_attempts import NextAttempts
from tests.core.reference_tables import read_table

NAN = float("nan")


def expected(toe, **options) -> NextAttempts:
    array = np.asarray(toe, dtype=float)
    found = next_attempts.expect_toe(array, np.isnan(array) | (array < 0), **options)
    assert isinstance(found, NextAttempts)
    return found


def of_sd(sd_m: float, n: int) -> np.ndarray:
    """Return n toes with exactly this sample SD about 1 m."""
    at = np.linspace(-1, 1, n)
    return 1.0 + at * sd_m / at.std(ddof=1)


class TestWithoutSessions:
    @pytest.mark.parametrize("n", [6, 15, 40])
    def test_is_the_chi_square_probability(self, n: int):
        toe = of_sd(0.09, n)

        for limit in (0.06, 0.08, 0.09, 0.10, 0.13, 0.20):
            found = board_spread.probability_below(expected(toe), limit)
            exact = stats.chi2.sf((n - 1) * (0.09 / limit) ** 2, n - 1)
            assert found == pytest.approx(exact, abs=1e-4), limit

    def test_interval_is_that_of_the_table_of_factors(self):
        for row in read_table("sd_interval_factors"):
            n = int(row["n"])
            if n < 6:
                continue
            found = board_spread.sd_interval(expected(of_sd(0.10, n)))
            assert found.low == pytest.approx(0.10 * float(row["ci95_lower_factor"]), abs=1e-4)
            assert found.high == pytest.approx(0.10 * float(row["ci95_upper_factor"]), abs=3e-4)

    def test_spread_is_within_revisions(self):
        toe = np.concatenate([of_sd(0.09, 10), of_sd(0.09, 10) + 0.5])

        found = board_spread.probability_below(expected(toe, revision=[1] * 10 + [2] * 10), 0.10)

        assert found == pytest.approx(stats.chi2.sf(18 * 0.81, 18), abs=1e-4)

    def test_typical_is_the_median(self):
        toe = expected(of_sd(0.09, 15))

        assert board_spread.typical_sd(toe) == pytest.approx(
            0.09 * math.sqrt(14 / stats.chi2.ppf(0.5, 14)), abs=1e-5
        )


class TestSessions:
    @pytest.mark.parametrize("day_sd_m", [0.0, 0.06])
    def test_agrees_with_a_sum_over_a_fine_grid(self, day_sd_m: float):
        rng = np.random.default_rng(1)
        session = np.repeat(np.arange(6), 5)
        toe = 1.0 + rng.normal(0, day_sd_m, 6)[session] + rng.normal(0, 0.08, 30)
        sums, _ = session_effects.sum_up(
            toe, np.ones(30, dtype=bool), np.ones(30, dtype=bool), session
        )
        ratio, log_sd = np.linspace(0, 3.5, 300), np.linspace(np.log(0.02), np.log(0.5), 600)
        log_weight = session_effects.likelihood_of(sums, ratio, log_sd, now=None).log_weight
        log_weight = log_weight - 0.5 * (ratio[:, None] / PRIOR_BETWEEN_SHARE) ** 2
        weight = np.exp(log_weight - log_weight.max())
        total = np.exp(log_sd) * np.sqrt(1 + ratio[:, None] ** 2)

        for limit in (0.07, 0.08, 0.09, 0.10, 0.12, 0.15):
            summed = weight[total <= limit].sum() / weight.sum()
            found = board_spread.probability_below(expected(toe, session=session), limit)
            assert found == pytest.approx(summed, abs=0.007), limit

    def test_make_it_less_sure_even_where_they_do_not_differ(self):
        # Nobody knows that they do not: few sessions say little of it.
        toe = np.tile(of_sd(0.08, 5), 4)

        together = board_spread.probability_below(expected(toe), 0.10)
        apart = board_spread.probability_below(
            expected(toe, session=np.repeat(np.arange(4), 5)), 0.10
        )

        assert apart < together - 0.05

    def test_no_jumps_that_nobody_measured_widen_it(self):
        toe = np.concatenate([of_sd(0.08, 12) - 0.94, [NAN] * 4])
        measured = np.where(toe < 0, NAN, toe)

        left_out = board_spread.typical_sd(expected(measured[~np.isnan(measured)]))
        assert board_spread.typical_sd(expected(measured)) > 1.3 * left_out


class TestEdges:
    def test_a_known_sd_is_below_or_not(self):
        known = next_attempts.known(0.06, 0.08)

        assert board_spread.probability_below(known, 0.0801) == 1
        assert board_spread.probability_below(known, 0.0799) == 0
        assert board_spread.typical_sd(known) == 0.08
        assert board_spread.sd_interval(known) == conventions.Interval(0.08, 0.08, 0.95)

    def test_equal_toes_spread_as_little_as_is_believed(self):
        toe = expected([0.06] * 20)

        assert board_spread.probability_below(toe, 0.0049) == 0
        assert board_spread.probability_below(toe, 0.01) > 0.999
        assert 0.005 <= board_spread.sd_interval(toe).low < 0.0055

    @pytest.mark.parametrize("limit", [0.0, -0.1, NAN, math.inf])
    def test_no_limit_is_refused(self, limit: float):
        with pytest.raises(ValueError, match="limit_m"):
            board_spread.probability_below(next_attempts.known(0.06, 0.08), limit)

    def test_no_level_is_refused(self):
        with pytest.raises(ValueError, match="level"):
            board_spread.sd_interval(next_attempts.known(0.06, 0.08), level=1.0)

    @settings(max_examples=40, deadline=None)
    @given(
        toe=st.lists(st.floats(0, 1.5), min_size=8, max_size=14),
        limits=st.lists(st.floats(0.001, 3), min_size=2, max_size=2),
    )
    def test_rises_with_the_limit_from_0_to_1(self, toe, limits):
        found = expected(toe, session=np.arange(len(toe)) // 3)

        low, high = (board_spread.probability_below(found, each) for each in sorted(limits))
        assert 0 <= low <= high <= 1
        interval = board_spread.sd_interval(found)
        assert 0 < interval.low < board_spread.typical_sd(found) < interval.high < math.inf


class TestChanceToShow:
    def test_is_what_simulated_spreads_show(self):
        rng = np.random.default_rng(4)
        sd = rng.normal(0, 0.08, size=(20_000, 15)).std(axis=1, ddof=1)
        limit = 0.10 * math.sqrt(stats.chi2.ppf(0.2, 14) / 14)

        # The design of this figure says 0.61 for 15 attempts and 0.87 for 40.
        assert np.mean(sd <= limit) == pytest.approx(0.61, abs=0.01)
        for n, chance in ((15, 0.61), (40, 0.87)):
            found = board_spread.chance_to_show(0.08, limit_m=0.10, n=n)
            assert found == pytest.approx(chance, abs=0.005)

    def test_of_a_spread_at_the_limit_is_what_may_go_wrong(self):
        for n in (5, 15, 40):
            assert board_spread.chance_to_show(0.1, limit_m=0.1, n=n) == pytest.approx(0.2)
            found = board_spread.chance_to_show(0.1, limit_m=0.1, n=n, sure=0.9)
            assert found == pytest.approx(0.1)

    @pytest.mark.parametrize(
        ("true_sd", "limit", "n", "sure", "words"),
        [
            (0.0, 0.1, 15, 0.8, "SDs"),
            (0.1, NAN, 15, 0.8, "SDs"),
            (0.1, 0.1, 1, 0.8, "n must"),
            (0.1, 0.1, 15, 1.0, "level"),
        ],
    )
    def test_refuses_what_has_no_chance(self, true_sd, limit, n, sure, words):
        with pytest.raises(ValueError, match=words):
            board_spread.chance_to_show(true_sd, limit_m=limit, n=n, sure=sure)
