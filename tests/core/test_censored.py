"""The censored fit against direct likelihoods, by properties, and on simulated attempts."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import optimize, stats

from analytics.core import censored, conventions
from analytics.core.conventions import NotEnoughAttempts
from tests.core.reference_tables import read_table

NAN = float("nan")


def fit(toe: np.ndarray, **options) -> censored.CensoredFit:
    """Fit where every missing toe is that of a no jump."""
    result = censored.fit_censored(toe, np.isnan(toe) | (toe < 0), **options)
    assert isinstance(result, censored.CensoredFit)
    return result


def negative_log_likelihood(parameters, measured, groups, hidden_groups) -> float:
    """Return the likelihood as it is defined, with scipy.stats and nothing clever."""
    *means, log_sd = parameters
    means = np.array(means)
    sd = math.exp(log_sd)
    return -float(
        np.sum(stats.norm.logpdf(measured, means[groups], sd))
        + np.sum(stats.norm.logcdf(0.0, means[hidden_groups], sd))
    )


class TestAgainstDirectLikelihood:
    @pytest.mark.parametrize("seed", range(8))
    def test_equals_the_censored_fit_of_scipy(self, seed: int):
        rng = np.random.default_rng(seed)
        toe = rng.normal(0.06, 0.08, size=25)
        toe[toe < 0] = NAN

        ours = fit(toe)

        # scipy.stats.norm.fit searches with a simplex: it stops at about 1e-4 of the parameters.
        sample = stats.CensoredData(
            uncensored=toe[~np.isnan(toe)], left=np.zeros(np.isnan(toe).sum())
        )
        mean, sd = stats.norm.fit(sample)
        assert ours.mean_m == pytest.approx(mean, abs=1e-4)
        assert ours.sd_m == pytest.approx(sd, abs=1e-4)

    @pytest.mark.parametrize("seed", range(8))
    def test_equals_a_direct_maximum_with_group_means(self, seed: int):
        rng = np.random.default_rng(seed)
        group = np.repeat([0, 1], [14, 10])
        toe = rng.normal(np.array([0.04, 0.10])[group], 0.08)
        toe[toe < 0] = NAN
        seen = ~np.isnan(toe)

        ours = fit(toe, revision=group)

        direct = optimize.minimize(
            negative_log_likelihood,
            [0.05, 0.05, math.log(0.08)],
            args=(toe[seen], group[seen], group[~seen]),
            method="BFGS",
            options={"gtol": 1e-9},
        )
        assert ours.mean_m == pytest.approx(direct.x[1], abs=1e-6)
        assert ours.sd_m == pytest.approx(math.exp(direct.x[2]), abs=1e-6)

    def test_covariance_is_the_inverse_of_the_numerical_information(self):
        toe = np.array([0.14, 0.05, 0.11, 0.02, 0.17, 0.08])
        ours = censored.fit_linear(toe, np.ones((6, 1)), np.ones((2, 1)))
        at = np.array([ours.coefficients[0], math.log(ours.sd)])

        step = 1e-4
        information = np.empty((2, 2))
        for i in range(2):
            for j in range(2):
                one, two = np.eye(2)[i] * step, np.eye(2)[j] * step
                information[i, j] = sum(
                    sign
                    * negative_log_likelihood(at + a * one + b * two, toe, np.zeros(6, int), [0, 0])
                    for a, b, sign in ((1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1))
                ) / (4 * step * step)

        assert ours.covariance == pytest.approx(np.linalg.inv(information), rel=1e-4)
        assert ours.log_likelihood == pytest.approx(
            -negative_log_likelihood(at, toe, np.zeros(6, int), [0, 0]), rel=1e-12
        )

    @pytest.mark.parametrize("row", read_table("board_hit_probability")[::4])
    def test_risk_is_that_of_the_normal_distribution(self, row: dict[str, str]):
        # Computed table of P(X < 0); the toes are made to have exactly its mean and SD.
        mean, sd = float(row["mu_m"]), float(row["sd_m"])
        shape = stats.norm.ppf((np.arange(40) + 0.5) / 40)
        toe = mean + sd * (shape - shape.mean()) / shape.std()

        ours = fit(toe)

        assert ours.probability_no_jump == pytest.approx(float(row["p_foul"]), abs=6e-7)


class TestWithoutCensoring:
    def test_intervals_are_exactly_the_t_and_the_chi_square_interval(self):
        toe = np.array([0.04, 0.11, 0.07, 0.16, 0.02, 0.09])

        ours = fit(toe)

        s = toe.std(ddof=1)
        t_low, t_high = stats.t.interval(0.95, 5, toe.mean(), s / math.sqrt(6))
        assert (ours.mean_interval.low, ours.mean_interval.high) == pytest.approx((t_low, t_high))
        assert ours.df == pytest.approx(5)
        assert ours.adjusted_sd_m == pytest.approx(s)
        assert ours.sd_m == pytest.approx(toe.std())
        assert ours.sd_interval.low == pytest.approx(s * math.sqrt(5 / stats.chi2.isf(0.025, 5)))


class TestDroppingThem:
    def test_makes_an_athlete_look_steadier_and_safer(self):
        # N(0.06, 0.08): without the unmeasured no jumps SD 0.060 and risk 0.06, in truth 0.23.
        toe = np.random.default_rng(2).normal(0.06, 0.08, size=20_000)
        hidden = np.where(toe < 0, NAN, toe)

        dropped = fit(hidden[~np.isnan(hidden)])
        kept = fit(hidden)

        assert dropped.sd_m == pytest.approx(0.060, abs=0.002)
        assert dropped.probability_no_jump == pytest.approx(0.06, abs=0.01)
        assert kept.sd_m == pytest.approx(0.080, abs=0.002)
        assert kept.mean_m == pytest.approx(0.060, abs=0.002)
        assert kept.probability_no_jump == pytest.approx(0.2266, abs=0.01)


class TestDegenerate:
    def test_all_censored_is_not_enough(self):
        result = censored.fit_censored([NAN] * 8, [True] * 8)

        assert result == NotEnoughAttempts(n=0, needed=5)

    def test_equal_toes_have_no_spread_and_a_certain_answer(self):
        behind, beyond = fit(np.full(5, 0.1)), fit(np.full(5, -0.1))

        assert (behind.sd_m, behind.mean_m, behind.probability_no_jump) == (0.0, 0.1, 0.0)
        assert (beyond.sd_m, beyond.mean_m, beyond.probability_no_jump) == (0.0, -0.1, 1.0)

    def test_equal_toes_contradicted_by_no_jumps_still_have_a_maximum(self):
        ours = fit(np.array([0.1] * 5 + [NAN]))

        assert ours.sd_m > 0.01
        assert 0 < ours.probability_no_jump < 0.5

    def test_toes_on_the_line_beside_no_jumps_give_the_observed_share(self):
        ours = fit(np.array([0.0] * 6 + [NAN, NAN]))

        assert (ours.sd_m, ours.probability_no_jump) == (0.0, 0.25)

    def test_a_revision_without_a_measured_toe_is_left_out(self):
        toe = np.array([NAN, 0.02, 0.05, 0.11, 0.04, 0.09])

        ours = fit(toe, revision=[1, 2, 2, 2, 2, 2])

        assert ours.n == 5
        assert ours.mean_m == pytest.approx(np.nanmean(toe))

    def test_a_latest_revision_without_a_measured_toe_has_no_mean(self):
        toe = np.array([0.02, 0.05, 0.11, 0.04, 0.09, NAN])

        result = censored.fit_censored(toe, np.isnan(toe), revision=[1, 1, 1, 1, 1, 2])

        assert result == NotEnoughAttempts(n=0, needed=1)

    def test_a_gap_is_not_a_no_jump(self):
        result = censored.fit_censored([0.02, 0.05, 0.11, 0.04, 0.09, NAN], [False] * 6)

        assert isinstance(result, censored.CensoredFit)
        assert (result.n, result.n_unmeasured_no_jumps) == (5, 0)

    def test_a_linear_fit_without_spread_is_refused(self):
        with pytest.raises(ValueError, match="no spread"):
            censored.fit_linear(np.ones(3), np.ones((3, 1)), np.empty((0, 1)))


class TestProperties:
    @given(
        st.lists(st.floats(-0.4, 0.6).map(lambda x: round(x, 4)), min_size=5, max_size=30),
        st.integers(0, 12),
    )
    def test_finite_toes_give_finite_figures(self, toe: list[float], n_hidden: int):
        result = censored.fit_censored(
            toe + [NAN] * n_hidden, [False] * len(toe) + [True] * n_hidden
        )

        assert isinstance(result, censored.CensoredFit)
        plain = [v for v in dataclasses.asdict(result).values() if isinstance(v, float)]
        assert all(math.isfinite(value) for value in plain)
        assert 0 <= result.probability_no_jump <= 1

    @given(st.lists(st.floats(0.0, 0.6), min_size=6, max_size=30), st.integers(1, 12))
    def test_each_further_no_jump_raises_the_risk(self, toe: list[float], n_hidden: int):
        assume(np.ptp(toe) > 0.01)
        fewer = fit(np.array(toe + [NAN] * (n_hidden - 1)))

        more = fit(np.array(toe + [NAN] * n_hidden))

        assert more.probability_no_jump > fewer.probability_no_jump
        assert more.mean_m < fewer.mean_m

    @given(st.floats(0.1, 100))
    def test_another_unit_of_length_changes_no_probability(self, unit: float):
        toe = np.array([0.14, 0.05, 0.11, 0.02, 0.17, 0.08, NAN, NAN])

        ours, scaled = fit(toe), fit(toe * unit)

        assert scaled.probability_no_jump == pytest.approx(ours.probability_no_jump, rel=1e-9)
        assert scaled.sd_m == pytest.approx(unit * ours.sd_m, rel=1e-9)


class TestBeyondTheLine:
    @pytest.mark.parametrize(("mean", "sd"), [(0.06, 0.08), (-0.10, 0.05), (0.5, 0.05)])
    def test_expectation_is_that_of_scipys_truncated_normal(self, mean: float, sd: float):
        ours = censored.expected_beyond_line(mean, sd)

        reference = stats.truncnorm(-np.inf, -mean / sd, loc=mean, scale=sd)
        assert ours[0] == pytest.approx(reference.mean(), rel=1e-9)
        assert ours[1] == pytest.approx(reference.var(), rel=1e-5)


class TestRecovery:
    @pytest.mark.parametrize(("n", "mean"), [(10, 0.06), (20, 0.06), (20, 0.0)])
    def test_intervals_cover_about_as_often_as_they_say(self, n: int, mean: float):
        # Approximate intervals: measured 0.95 to 0.973 (mean), 0.94 to 0.95 (SD), 0.95 to 0.96
        # (risk) over 1,500 runs; the band holds them to that.
        rng = np.random.default_rng(1)
        risk = stats.norm.cdf(-mean / 0.08)
        hits: list[list[bool]] = []
        while len(hits) < 800:
            toe = rng.normal(mean, 0.08, size=n)
            result = censored.fit_censored(np.where(toe < 0, NAN, toe), toe < 0)
            if isinstance(result, NotEnoughAttempts):
                continue
            intervals = (
                (result.mean_interval, mean),
                (result.sd_interval, 0.08),
                (result.probability_no_jump_interval, risk),
            )
            hits.append([i.low < truth < i.high for i, truth in intervals])

        assert np.mean(hits, axis=0) == pytest.approx(0.955, abs=0.03)


class TestEquivalentDf:
    def test_censoring_costs_degrees_of_freedom(self):
        rng = np.random.default_rng(4)
        toe = rng.normal(0.06, 0.08, size=40)
        hidden = np.where(toe < 0, NAN, toe)

        whole, partly = fit(toe), fit(hidden)

        assert whole.df == pytest.approx(39)
        assert np.count_nonzero(~np.isnan(hidden)) / 2 < partly.df < 39

    def test_no_spread_asks_for_groups_with_a_measured_toe(self):
        toe = np.array([0.1, 0.1, 0.3, 0.3])
        groups = conventions.group_by([1, 1, 2, 2], n=4)

        assert censored.leaves_no_spread(toe, np.ones(4, bool), groups)
