"""What blocks can show: held against simulated blocks, statsmodels and each other."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.core import power

dfs = st.integers(2, 200)


class TestAttemptsToShow:
    def test_a_fall_by_a_fifth_in_simulated_blocks(self):
        needed = power.attempts_to_show(change=0.20)
        rng = np.random.default_rng(6)
        one = rng.chisquare(needed - 1, size=20_000)
        two = 0.64 * rng.chisquare(needed - 1, size=20_000)

        shown = stats.f.cdf(one / two, needed - 1, needed - 1) >= 0.95

        assert np.mean(shown) == pytest.approx(0.80, abs=0.01)

    def test_is_the_fewest(self):
        needed = power.attempts_to_show(change=0.30, power=0.9)

        def reached(n: int) -> float:
            return power.power_to_show(0.30, df_before=n - 1, df_after=n - 1)

        assert reached(needed) >= 0.9 > reached(needed - 1)

    @pytest.mark.parametrize("change", [0.0, 1.0, 0.001])
    def test_refuses_a_change_that_cannot_be_shown(self, change: float):
        with pytest.raises(ValueError, match="change"):
            power.attempts_to_show(change=change)


class TestAttemptsAfter:
    def test_is_the_fewest(self):
        needed = power.attempts_after_to_show(change=0.40, df_before=19)

        assert needed is not None
        assert power.power_to_show(0.40, df_before=19, df_after=needed - 1) >= 0.8
        assert power.power_to_show(0.40, df_before=19, df_after=needed - 2) < 0.8

    def test_none_where_the_block_before_says_too_little(self):
        # With endless attempts after only the earlier SD is uncertain: chi-square.
        best = stats.chi2.sf(stats.chi2.ppf(0.95, 19) * 0.8**2, 19)

        assert best < 0.8
        assert power.attempts_after_to_show(change=0.20, df_before=19) is None
        assert power.power_to_show(0.20, df_before=19, df_after=1e6) == pytest.approx(
            best, abs=1e-3
        )

    def test_is_about_that_of_two_equal_blocks(self):
        # The equal blocks need 127 each, and 126 beside 127 may just do.
        assert power.attempts_after_to_show(change=0.20, df_before=126) in {125, 126, 127}


class TestPower:
    def test_in_simulated_blocks_of_unequal_size(self):
        rng = np.random.default_rng(7)
        before = rng.chisquare(9, size=40_000) / 9
        after = 0.7**2 * rng.chisquare(24, size=40_000) / 24

        shown = np.mean(stats.f.cdf(before / after, 9, 24) >= 0.95)

        found = power.power_to_show(0.30, df_before=9, df_after=24)
        assert found == pytest.approx(float(shown), abs=0.01)

    @given(dfs, dfs, st.floats(0.6, 0.99))
    def test_of_no_fall_is_that_of_a_false_alarm(self, before, after, sure):
        found = power.power_to_show(0.0, df_before=before, df_after=after, sure=sure)

        assert found == pytest.approx(1 - sure, abs=1e-9)

    @given(dfs, dfs, st.floats(0.1, 0.95))
    def test_is_the_inverse_of_the_change_that_it_shows(self, before, after, chance):
        change = power.change_to_show(df_before=before, df_after=after, power=chance)

        found = power.power_to_show(change, df_before=before, df_after=after)
        assert 0 <= change < 1
        assert found == pytest.approx(chance, abs=1e-6)

    def test_change_is_none_where_chance_alone_would_do(self):
        assert power.change_to_show(df_before=10, df_after=10, sure=0.9, power=0.05) == 0.0

    @pytest.mark.parametrize(
        ("options", "message"),
        [
            ({"df_before": 0, "df_after": 3}, "df_before"),
            ({"df_before": 3, "df_after": math.inf}, "df_after"),
            ({"df_before": 3, "df_after": 3, "sure": 1.0}, "sure"),
        ],
    )
    def test_refuses(self, options, message):
        with pytest.raises(ValueError, match=message):
            power.power_to_show(0.2, **options)
        with pytest.raises(ValueError, match=message):
            power.change_to_show(**options)

    @pytest.mark.parametrize("change", [-0.1, 1.0])
    def test_refuses_a_change_outside_its_range(self, change: float):
        with pytest.raises(ValueError, match="change"):
            power.power_to_show(change, df_before=3, df_after=3)
