"""Errors taken apart: by hand, against statsmodels, by properties, and the mean recovered."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.core import causes

NAN = float("nan")


def made(rng, *, sessions=5, each=6, place=0.0, wind=0.0, session=0.0, mean=0.1, between=0.03):
    """Return errors with the given effects, and what explains them."""
    number = np.repeat(np.arange(sessions), each)
    order = np.tile(np.arange(each), sessions)
    blowing = rng.normal(0, 1.5, number.size)
    error = mean + place * order + wind * blowing + session * number
    error = error + np.repeat(rng.normal(0, between, sessions), each)
    return error + rng.normal(0, 0.05, number.size), number, order, blowing


class TestAgainstStatsmodels:
    def test_slopes_are_those_of_least_squares_with_a_level_for_each_session(self):
        error, number, order, blowing = made(np.random.default_rng(1), place=0.02, wind=-0.03)

        found = causes.error_causes(error, session=number, place=order, wind_mps=blowing)

        levels = np.equal.outer(number, np.arange(5)).astype(float)
        fit = sm.OLS(error, np.column_stack([order, blowing, levels])).fit()
        assert found.place is not None
        assert found.wind is not None
        assert found.place.estimate == pytest.approx(fit.params[0])
        assert found.wind.estimate == pytest.approx(fit.params[1])
        assert found.wind.standard_error == pytest.approx(fit.bse[1])
        assert found.wind.p_value == pytest.approx(fit.pvalues[1])
        assert found.sd_m == pytest.approx(float(np.sqrt(fit.mse_resid)))
        assert found.sd_df == fit.df_resid

    def test_the_line_over_sessions_is_that_of_their_means(self):
        error, number, order, _ = made(np.random.default_rng(2), session=-0.05)
        order = np.zeros_like(order)

        found = causes.error_causes(
            error, session=number, place=order, wind_mps=np.full(error.size, NAN)
        )

        fit = stats.linregress(np.arange(5), error.reshape(5, 6).mean(axis=1))
        assert found.session is not None
        assert found.session.estimate == pytest.approx(fit.slope)
        assert found.session.p_value == pytest.approx(fit.pvalue)


class TestEdges:
    def test_without_wind_there_is_no_line_on_it(self):
        error, number, order, blowing = made(np.random.default_rng(3))
        blowing[5:] = NAN

        found = causes.error_causes(error, session=number, place=order, wind_mps=blowing)

        assert found.wind is None

    def test_a_missing_wind_says_nothing(self):
        error, number, order, blowing = made(np.random.default_rng(3), sessions=1, each=12)
        blowing[3] = NAN

        found = causes.error_causes(error, session=number, place=0 * order, wind_mps=blowing)

        known = ~np.isnan(blowing)
        assert found.wind is not None
        assert found.wind.estimate == pytest.approx(
            stats.linregress(blowing[known], error[known]).slope
        )

    def test_two_causes_that_go_together_cannot_be_told_apart(self):
        error, number, order, _ = made(np.random.default_rng(3))

        found = causes.error_causes(error, session=number, place=order, wind_mps=1.0 * order)

        assert (found.place, found.wind) == (None, None)

    def test_three_sessions_make_no_line(self):
        error, number, order, blowing = made(np.random.default_rng(3), sessions=3)

        assert (
            causes.error_causes(error, session=number, place=order, wind_mps=blowing).session
            is None
        )

    def test_one_attempt_in_each_of_two_sessions_has_no_spread(self):
        found = causes.error_causes([0.1, 0.2], session=[1, 2], place=[0, 0], wind_mps=[NAN, NAN])

        assert (found.sd_m, found.sd_df) == (0.0, 0)
        assert found.mean_m == pytest.approx(0.15)

    @pytest.mark.parametrize(
        ("error", "place", "wind"),
        [
            ([0.1], [0], [NAN]),
            ([0.1, NAN], [0, 1], [NAN, NAN]),
            ([0.1, 0.2], [0], [NAN, NAN]),
            ([0.1, 0.2], [0, 1], [np.inf, 1.0]),
        ],
    )
    def test_bad_input_is_refused(self, error, place, wind):
        with pytest.raises(ValueError, match=r"."):
            causes.error_causes(error, session=[1] * len(error), place=place, wind_mps=wind)


class TestProperties:
    @given(seed=st.integers(0, 2**31), shift=st.floats(-1, 1), scale=st.floats(0.2, 5))
    def test_shift_moves_the_mean_only_and_units_do_not_matter(self, seed, shift, scale):
        error, number, order, blowing = made(np.random.default_rng(seed))

        found = causes.error_causes(error, session=number, place=order, wind_mps=blowing)
        other = causes.error_causes(
            scale * error + shift, session=number, place=order, wind_mps=blowing
        )

        assert other.mean_m == pytest.approx(scale * found.mean_m + shift)
        assert other.sd_m == pytest.approx(scale * found.sd_m)
        assert found.wind is not None
        assert other.wind is not None
        assert other.wind.p_value == pytest.approx(found.wind.p_value)


class TestRecovery:
    @pytest.mark.slow
    @pytest.mark.parametrize("sessions", [1, 3, 6])
    @pytest.mark.parametrize("between", [0.0, 0.035, 0.05])
    def test_the_mean_is_covered(self, sessions: int, between: float):
        rng = np.random.default_rng(10 * sessions)
        hits = 0
        for _ in range(1000):
            error, number, order, blowing = made(rng, sessions=sessions, between=between)
            found = causes.error_causes(error, session=number, place=order, wind_mps=blowing)
            half = stats.t.ppf(0.975, found.mean_df) * found.mean_standard_error_m
            hits += abs(found.mean_m - 0.1) <= half

        # The SD between sessions is drawn toward 0.7 of that within (0.035 here): intervals are
        # wide where sessions do not differ, a little narrow where they differ more (measured).
        low, high = {0.0: (0.94, 0.995), 0.035: (0.90, 0.975), 0.05: (0.86, 0.955)}[between]
        assert low <= hits / 1000 <= high
