"""A line with a belief: by hand, against statsmodels, against brute force, by properties."""

import math
import warnings

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.core import believed_line
from analytics.core.believed_line import Belief

USUAL = Belief(slope=-0.08, slope_sd=0.05, attempt_sd=0.15, level_sd=0.20)
OPEN = Belief(slope=0.8, slope_sd=0.3, attempt_sd=0.12)


def made(seed, *, n=12, sessions=3, slope=-0.1):
    """Return errors, winds, and the session of each."""
    rng = np.random.default_rng(seed)
    session = np.arange(n) % sessions
    cause = rng.normal(0.5, 1.5, n)
    effect = rng.normal(0, 0.08, sessions)[session]
    return 0.05 + slope * cause + effect + rng.normal(0, 0.12, n), cause, session


class TestByHand:
    def test_one_attempt_with_a_known_level(self):
        # Level N(0, 0.2^2), slope N(-0.08, 0.05^2), y = 0.3 at x = 2 with own SD s:
        # the gain of the slope is 0.05^2 x 2 / (0.2^2 + 2^2 x 0.05^2 + s^2).
        line = believed_line.fit_line([0.3], [2.0], belief=USUAL)

        total = 0.2**2 + 4 * 0.05**2 + line.attempt_sd**2
        gain = 0.05**2 * 2 / total
        np.testing.assert_allclose(line.slope_mean, -0.08 + gain * (0.3 - 2 * -0.08))
        np.testing.assert_allclose(line.slope_sd**2, 0.05**2 * (1 - gain * 2))

    def test_two_attempts_whose_level_nobody_knows_leave_their_difference(self):
        # y differs by 0.2 over x by 0.2 with variance 2 s^2.
        line = believed_line.fit_line([6.1, 6.3], [9.0, 9.2], belief=OPEN)

        gain = 0.3**2 * 0.2 / (0.2**2 * 0.3**2 + 2 * line.attempt_sd**2)
        np.testing.assert_allclose(line.slope_mean, 0.8 + gain * (0.2 - 0.2 * 0.8))

    def test_no_attempts_leave_the_belief(self):
        line = believed_line.fit_line([], [], belief=USUAL, session=[])

        assert believed_line.slope_mean(line) == pytest.approx(-0.08)
        assert believed_line.slope_sd(line) == pytest.approx(0.05)
        interval = believed_line.slope_interval(line, level=0.95)
        assert interval.low == pytest.approx(-0.08 - 1.959964 * 0.05)
        # 4 s^2 / sigma^2 is chi-square with 4 df, whose mean logarithm is 2 ln 2 + psi(2) - ln 2.
        mean_log = math.log(2) + 0.4227843351
        assert believed_line.attempt_sd(line) == pytest.approx(
            0.15 * math.exp(0.5 * (math.log(4) - mean_log)), rel=1e-3
        )


class TestAgainstStatsmodels:
    def test_given_the_sd_it_is_least_squares_with_the_belief_as_further_rows(self):
        error, cause, _ = made(1)
        levels = np.repeat([0, 1], 6)

        line = believed_line.fit_line(error, cause, belief=USUAL, levels=levels)

        for place in (0, line.weight.size // 2, -1):
            sd = line.attempt_sd[place]
            rows = np.column_stack([cause, levels == 0, levels == 1]).astype(float)
            fit = sm.WLS(
                np.concatenate([error, [-0.08, 0.0, 0.0]]),
                np.vstack([rows, np.eye(3)]),
                weights=np.concatenate([np.full(12, sd**-2), [0.05**-2, 0.2**-2, 0.2**-2]]),
            ).fit(cov_type="fixed scale")
            assert line.slope_mean[place] == pytest.approx(fit.params[0])
            assert line.slope_sd[place] == pytest.approx(math.sqrt(fit.normalized_cov_params[0, 0]))

    def test_without_any_belief_it_is_the_t_interval_of_least_squares(self):
        # A slope that may be anything, and a usual SD that 200 attempts outweigh.
        error, cause, _ = made(2, n=200)
        belief = Belief(slope=0.0, slope_sd=1e3, attempt_sd=0.13)

        line = believed_line.fit_line(error, cause, belief=belief)

        fit = sm.OLS(error, sm.add_constant(cause)).fit()
        low, high = fit.conf_int()[1]
        interval = believed_line.slope_interval(line, level=0.95)
        assert (interval.low, interval.high) == pytest.approx((low, high), abs=0.02 * (high - low))


class TestAgainstBruteForce:
    @pytest.mark.parametrize("n", [4, 12])
    def test_slope_and_spread_are_those_of_a_sum_over_everything(self, n):
        error, cause, session = made(3, n=n)
        same = np.equal.outer(session, session).astype(float)

        line = believed_line.fit_line(error, cause, belief=USUAL, session=session)

        # Levels and effects in the covariance; SD, ratio and slope on a grid.
        slopes = np.linspace(-0.35, 0.2, 56)
        log_sds = np.linspace(np.log(0.03), np.log(1.5), 28)
        ratios = np.linspace(0, 3.5, 11)
        log = np.empty((slopes.size, log_sds.size, ratios.size))
        for i, sd in enumerate(np.exp(log_sds)):
            for j, ratio in enumerate(ratios):
                spread = 0.2**2 + sd**2 * (np.eye(n) + ratio**2 * same)
                left = error - slopes[:, None] * cause
                log[:, i, j] = (
                    stats.multivariate_normal(np.zeros(n), spread).logpdf(left)
                    + stats.norm.logpdf(slopes, -0.08, 0.05)
                    + stats.chi2.logpdf(4 * 0.15**2 / sd**2, 4)
                    - 2 * np.log(sd)  # from the density of 1 / sd^2 to that of log sd
                    + stats.norm.logpdf(ratio, 0, 0.7)
                )
        weight = np.exp(log - log.max())
        weight[:, :, [0, -1]] *= 0.5
        of_slope = weight.sum(axis=(1, 2)) / weight.sum()
        of_sd = weight.sum(axis=(0, 2)) / weight.sum()
        mean = of_slope @ slopes
        assert believed_line.slope_mean(line) == pytest.approx(mean, abs=2e-4)
        assert believed_line.slope_sd(line) == pytest.approx(
            math.sqrt(of_slope @ (slopes - mean) ** 2), rel=0.005
        )
        assert math.log(believed_line.attempt_sd(line)) == pytest.approx(of_sd @ log_sds, abs=0.01)

    def test_evidence_prefers_the_cause_that_explains(self):
        error, cause, session = made(4, n=40, slope=-0.15)
        belief = Belief(slope=0.0, slope_sd=0.2, attempt_sd=0.12, level_sd=0.2)

        right = believed_line.fit_line(error, cause, belief=belief, session=session)
        wrong = believed_line.fit_line(error, cause[::-1], belief=belief, session=session)

        assert right.log_evidence > wrong.log_evidence + 10
        both = believed_line.mix([right, wrong], [0.0, 0.0])
        assert believed_line.slope_mean(both) == pytest.approx(
            believed_line.slope_mean(right), rel=1e-3
        )
        even = believed_line.mix([right, wrong], [wrong.log_evidence, right.log_evidence])
        assert believed_line.slope_mean(even) == pytest.approx(
            (believed_line.slope_mean(right) + believed_line.slope_mean(wrong)) / 2
        )


class TestRefusals:
    @pytest.mark.parametrize(
        ("values", "cause", "belief"),
        [
            ([0.1], [1.0, 2.0], USUAL),
            ([float("nan")], [1.0], USUAL),
            ([0.1], [float("inf")], USUAL),
            ([[0.1]], [[1.0]], USUAL),
            ([0.1], [1.0], Belief(slope=0, slope_sd=0, attempt_sd=0.1)),
            ([0.1], [1.0], Belief(slope=0, slope_sd=1, attempt_sd=-0.1)),
            ([0.1], [1.0], Belief(slope=0, slope_sd=1, attempt_sd=0.1, level_sd=float("nan"))),
        ],
    )
    def test_bad_input_is_refused(self, values, cause, belief):
        with pytest.raises(ValueError, match=r"."):
            believed_line.fit_line(values, cause, belief=belief)

    def test_a_level_that_is_none_is_refused(self):
        line = believed_line.fit_line([], [], belief=USUAL)

        with pytest.raises(ValueError, match="level"):
            believed_line.slope_interval(line, level=1.0)


class TestProperties:
    @given(seed=st.integers(0, 2**31), shift=st.floats(-5, 5))
    @settings(max_examples=30)
    def test_levels_of_which_nothing_is_believed_take_any_shift(self, seed, shift):
        error, cause, session = made(seed)

        line = believed_line.fit_line(error, cause, belief=OPEN, levels=session)
        moved = believed_line.fit_line(error + shift * session, cause, belief=OPEN, levels=session)

        assert believed_line.slope_mean(moved) == pytest.approx(
            believed_line.slope_mean(line), abs=1e-8
        )

    @given(seed=st.integers(0, 2**31), factor=st.floats(0.1, 10))
    @settings(max_examples=30)
    def test_units_do_not_matter(self, seed, factor):
        error, cause, session = made(seed)
        belief = Belief(-0.08 * factor, 0.05 * factor, 0.15 * factor, 0.2 * factor)

        with warnings.catch_warnings():
            warnings.simplefilter("error")
            line = believed_line.fit_line(error, cause, belief=USUAL, session=session)
            other = believed_line.fit_line(error * factor, cause, belief=belief, session=session)

        for figure in (believed_line.slope_mean, believed_line.slope_sd, believed_line.attempt_sd):
            assert figure(other) == pytest.approx(figure(line) * factor, rel=1e-8)

    @given(seed=st.integers(0, 2**31))
    @settings(max_examples=30)
    def test_order_does_not_matter_and_the_interval_holds_its_probability(self, seed):
        error, cause, session = made(seed)
        order = np.random.default_rng(seed).permutation(12)

        line = believed_line.fit_line(error, cause, belief=USUAL, session=session)
        other = believed_line.fit_line(
            error[order], cause[order], belief=USUAL, session=session[order]
        )

        interval = believed_line.slope_interval(line, level=0.9)
        assert believed_line.slope_mean(other) == pytest.approx(believed_line.slope_mean(line))
        assert believed_line.slope_below(line, interval.low) == pytest.approx(0.05)
        assert believed_line.slope_below(line, interval.high) == pytest.approx(0.95)
