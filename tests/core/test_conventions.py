"""Intervals against printed tables and general libraries, and groups by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats import proportion

from analytics.core import conventions
from tests.core.reference_tables import read_table


class TestIntervals:
    @pytest.mark.parametrize("row", read_table("sd_interval_factors"), ids=lambda row: row["n"])
    def test_sd_factors_are_those_of_the_printed_table(self, row: dict[str, str]):
        # Chi-square theory, agreeing with the table in the manual of Boost.Math.
        df = int(row["n"]) - 1

        low, high = conventions.chi_square_factors(df=df, level=0.95)
        low_90, high_90 = conventions.chi_square_factors(df=df, level=0.90)

        assert low == pytest.approx(float(row["ci95_lower_factor"]), abs=6e-6)
        assert high == pytest.approx(float(row["ci95_upper_factor"]), abs=6e-6)
        assert low_90 == pytest.approx(float(row["ci90_lower_factor"]), abs=6e-6)
        assert high_90 == pytest.approx(float(row["ci90_upper_factor"]), abs=6e-6)

    @given(df=st.floats(0.5, 2000), level=st.floats(0.5, 0.999))
    def test_sd_factors_are_those_of_scipys_distribution(self, df: float, level: float):
        tail = (1 - level) / 2

        low, high = conventions.chi_square_factors(df=df, level=level)

        assert low == pytest.approx(np.sqrt(df / stats.chi2.isf(tail, df)), rel=1e-14)
        assert high == pytest.approx(np.sqrt(df / stats.chi2.ppf(tail, df)), rel=1e-14)

    @pytest.mark.parametrize("row", read_table("sd_interval_factors"), ids=lambda row: row["n"])
    def test_t_interval_uses_the_printed_quantile(self, row: dict[str, str]):
        interval = conventions.t_interval(
            estimate=1.0, standard_error=1.0, df=int(row["n"]) - 1, level=0.95
        )

        assert interval.high - 1 == pytest.approx(float(row["t_0.975"]), abs=6e-6)
        assert interval.low + interval.high == pytest.approx(2.0)

    @given(n=st.integers(1, 300), part=st.floats(0, 1), level=st.floats(0.5, 0.999))
    def test_wilson_interval_equals_statsmodels(self, n: int, part: float, level: float):
        hits = round(part * n)

        interval = conventions.wilson_interval(successes=hits, n=n, level=level)

        low, high = proportion.proportion_confint(hits, n, alpha=1 - level, method="wilson")
        assert interval.low == pytest.approx(low, abs=1e-12)
        assert interval.high == pytest.approx(high, abs=1e-12)

    def test_wilson_interval_of_nothing_is_everything(self):
        interval = conventions.wilson_interval(successes=0, n=0, level=0.95)

        assert (interval.low, interval.high) == (0.0, 1.0)

    def test_sd_interval_covers_as_often_as_it_says(self):
        rng = np.random.default_rng(11)
        sds = rng.normal(0.06, 0.08, size=(4000, 8)).std(axis=1, ddof=1)
        low, high = conventions.chi_square_factors(df=7, level=0.95)

        covered = np.mean((sds * low < 0.08) & (sds * high > 0.08))

        assert covered == pytest.approx(0.95, abs=0.015)


class TestGroups:
    def test_are_numbered_as_they_appear(self):
        groups = conventions.group_by(["b", "a", "b"], [1, 1, 2], n=3)

        assert groups.index.tolist() == [0, 1, 2]
        assert groups.counts.tolist() == [1, 1, 1]

    def test_without_labels_are_one(self):
        assert conventions.group_by(None, n=3).n_groups == 1

    def test_of_no_attempts_are_none(self):
        assert conventions.group_by([], n=0).n_groups == 0

    def test_refuse_labels_of_another_length(self):
        with pytest.raises(ValueError, match="one value for each of 3 attempts"):
            conventions.group_by([1, 2], n=3)

    def test_runs_part_where_a_label_comes_back(self):
        assert conventions.run_index([1, 2, 1], n=3).tolist() == [0, 1, 2]

    @given(st.lists(st.floats(-5, 5), min_size=1, max_size=40))
    def test_centring_leaves_a_mean_of_zero(self, values: list[float]):
        array = np.array(values)
        groups = conventions.group_by(np.arange(array.size) % 3, n=array.size)

        left = conventions.centred(array, groups)

        assert np.abs(np.bincount(groups.index, weights=left)).max() < 1e-12


class TestChecks:
    def test_a_toe_beyond_the_line_is_a_no_jump_whatever_was_judged(self):
        _, beyond = conventions.check_attempts([-0.01, 0.0], [False, False])

        assert beyond.tolist() == [True, False]

    @pytest.mark.parametrize(
        ("toe", "no_jump", "words"),
        [
            ([0.1, 0.2], [False], "one value for each attempt"),
            ([[0.1]], [[False]], "one value for each attempt"),
            ([float("inf")], [False], "infinite"),
            ([0.1], [1], "booleans"),
        ],
    )
    def test_refuse_what_is_not_one_value_for_each_attempt(self, toe, no_jump, words):
        with pytest.raises(ValueError, match=words):
            conventions.check_attempts(toe, no_jump)

    @pytest.mark.parametrize("aim", [float("nan"), [0.06, 0.06]])
    def test_refuse_an_aim_that_does_not_fit(self, aim):
        with pytest.raises(ValueError, match="aim_m"):
            conventions.check_aim(aim, n=3)

    @pytest.mark.parametrize("level", [0.0, 1.0, -1.0])
    def test_refuse_a_level_outside_its_range(self, level: float):
        with pytest.raises(ValueError, match="level"):
            conventions.check_level(level)

    def test_normal_quantile_of_the_wilson_interval_is_that_of_scipy(self):
        # z^2 / (n + z^2) is the high end with no success.
        z = stats.norm.ppf(0.975)

        interval = conventions.wilson_interval(successes=0, n=10, level=0.95)

        assert interval.high == pytest.approx(z**2 / (10 + z**2), rel=1e-14)
