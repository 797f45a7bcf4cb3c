"""Effects of runways: against published numbers, quadrature, a reference library, by properties."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import DotProduct

from analytics.core.conventions import NotEnoughAttempts
from analytics.core.runway_effects import RunwayEffects, runway_effects

NAN = float("nan")

# Effects of coaching in eight schools and their standard errors (Rubin 1981; Gelman et al.,
# Bayesian Data Analysis, table 5.2; from memory).
SCHOOLS = [28, 8, -3, 7, -1, 1, 18, 12]
SCHOOL_SDS = [15, 10, 16, 11, 9, 11, 10, 18]


def effects(mean, sd, runway, **options) -> RunwayEffects:
    found = runway_effects(mean, sd, runway, **options)
    assert isinstance(found, RunwayEffects)
    return found


class TestPublished:
    def test_eight_schools(self):
        """Posterior medians 10, 8, 6, 7, 5, 6, 10, 8 with a flat prior of the spread.

        Bayesian Data Analysis, table 5.3, from memory; the skew puts means a little above.
        """
        found = effects(SCHOOLS, SCHOOL_SDS, list(range(8)), usual_spread_m=100.0)

        schools = found.mean_m + found.effect_m
        assert schools == pytest.approx([10, 8, 6, 7, 5, 6, 10, 8], abs=1.5)
        assert np.argsort(schools)[[-1, 0]].tolist() == [0, 4]

    def test_eight_schools_without_any_difference(self):
        """The pooled effect is 7.7 with a standard error of 4.1 (the same book, from memory)."""
        found = effects(SCHOOLS, SCHOOL_SDS, list(range(8)), usual_spread_m=1e-6)

        assert found.mean_m == pytest.approx(7.7, abs=0.05)
        assert found.mean_sd_m == pytest.approx(4.1, abs=0.05)
        assert np.abs(found.effect_m).max() < 1e-6


class TestAgainstOthers:
    def test_the_same_as_a_fine_sum_over_spreads(self):
        """Effects by solving the normal equations for each spread, weighed by the likelihood."""
        mean = np.array([0.05, 0.08, -0.02, 0.00, 0.01, 0.12])
        sd = np.array([0.03, 0.04, 0.03, 0.05, 0.03, 0.04])
        place = np.array([0, 0, 1, 1, 1, 2])
        design = np.eye(3)[place]
        spread = np.arange(0.0005, 2.0, 0.001)[:, None, None]
        # A flat prior of the mean: a normal one that is far wider than anything here.
        covariance = design @ design.T * spread**2 + np.diag(sd**2) + 100.0
        inverse = np.linalg.inv(covariance)
        gain = spread**2 * (design.T @ inverse)
        log_likelihood = -0.5 * (np.linalg.slogdet(covariance)[1] + mean @ inverse @ mean)
        share = np.exp(log_likelihood - log_likelihood.max()) * stats.t.pdf(
            spread[:, 0, 0] / 0.05, 3
        )
        share /= share.sum()
        given = gain @ mean
        left = spread**2 * np.eye(3) - gain @ design * spread**2
        expected = share @ given
        expected_sd = np.sqrt(
            share @ (np.diagonal(left, axis1=1, axis2=2) + given**2) - expected**2
        )

        found = effects(mean, sd, ["a", "a", "b", "b", "b", "c"])

        assert found.effect_m == pytest.approx(expected, abs=3e-4)
        assert found.effect_sd_m == pytest.approx(expected_sd, abs=3e-4)

    def test_given_the_spread_the_same_as_a_regression_of_scikit_learn(self):
        """With many runways that differ clearly the spread is as good as known."""
        rng = np.random.default_rng(4)
        place = np.repeat(np.arange(60), 2)
        mean = rng.normal(0, 0.08, size=60)[place] + rng.normal(0, 0.03, size=120)
        found = effects(mean, 0.03, place)
        design = np.eye(60)[place]

        regression = GaussianProcessRegressor(
            kernel=DotProduct(sigma_0=1e-6, sigma_0_bounds="fixed") * 1.0,
            alpha=0.03**2 / found.spread_m**2,
            optimizer=None,
        ).fit(design, (mean - found.mean_m) / found.spread_m)
        theirs, their_sd = regression.predict(np.eye(60), return_std=True)

        assert found.effect_m == pytest.approx(theirs * found.spread_m, abs=0.002)
        # They take mean and spread as known, so they are a little surer.
        assert found.effect_sd_m.mean() == pytest.approx(their_sd.mean() * found.spread_m, rel=0.15)
        assert found.effect_sd_m.mean() > their_sd.mean() * found.spread_m


class TestByHand:
    def test_two_runways_that_surely_differ_are_taken_as_they_are(self):
        found = effects([1.0, 1.0, -1.0], 1e-4, ["a", "a", "b"], usual_spread_m=1.0)

        assert found.runway == ("a", "b")
        assert found.n_visits.tolist() == [2, 1]
        # The mean of two runways is known no better than the spread over the root of two.
        assert found.mean_m == pytest.approx(0.0, abs=1e-6)
        assert found.effect_m == pytest.approx([1.0, -1.0], abs=1e-3)

    def test_more_visits_are_drawn_less_toward_nothing(self):
        twice = effects([0.1, 0.1, 0.0, 0.0, 0.0], 0.05, list("aabbb"))
        often = effects([0.1] * 10 + [0.0] * 10, 0.05, list("a" * 10 + "b" * 10))

        assert 0 < twice.effect_m[0] < often.effect_m[0] < 0.05

    def test_a_new_runway_is_as_far_off_as_runways_differ(self):
        alike = effects(np.zeros(8), 0.02, list("abcdefgh"))
        apart = effects(np.tile([0.1, -0.1], 4), 0.02, list("abcdefgh"))

        assert alike.new_sd_m < 0.02
        assert apart.new_sd_m > 0.08
        assert apart.new_sd_m > apart.spread_m


class TestEdges:
    @pytest.mark.parametrize(
        ("mean", "runway", "n", "needed"),
        [
            ([0.1, 0.2], ["a", "b"], 2, 3),
            ([0.1, 0.2, NAN], ["a", "b", "c"], 2, 3),
            ([0.1, 0.2, 0.3, 0.1], ["a", "a", "a", "a"], 4, 5),
            ([], [], 0, 3),
        ],
    )
    def test_too_few_visits_or_runways_say_nothing(self, mean, runway, n, needed):
        assert runway_effects(mean, 0.05, runway) == NotEnoughAttempts(n=n, needed=needed)

    def test_a_session_that_nobody_measured_counts_nowhere(self):
        without = effects([0.1, 0.0, 0.05], 0.05, ["a", "b", "a"])
        within = effects([0.1, NAN, 0.0, 0.05], 0.05, ["a", "c", "b", "a"])

        assert within.runway == ("a", "b")
        np.testing.assert_array_equal(within.effect_m, without.effect_m)

    @pytest.mark.parametrize(
        ("mean", "sd", "runway", "words"),
        [
            ([[0.1]], 0.05, ["a"], "do not fit"),
            ([0.1, 0.2], [0.05], ["a", "b"], "do not fit"),
            ([0.1, 0.2], 0.05, ["a"], "one label"),
            ([0.1, float("inf")], 0.05, ["a", "b"], "infinite"),
            ([0.1, 0.2], 0.0, ["a", "b"], "above 0"),
            ([0.1, 0.2], NAN, ["a", "b"], "above 0"),
        ],
    )
    def test_bad_input_is_refused(self, mean, sd, runway, words):
        with pytest.raises(ValueError, match=words):
            runway_effects(mean, sd, runway)

    def test_a_spread_of_nothing_is_refused(self):
        with pytest.raises(ValueError, match="usual_spread_m"):
            runway_effects([0.1, 0.2, 0.1], 0.05, ["a", "b", "a"], usual_spread_m=0.0)


class TestProperties:
    @given(
        st.lists(st.tuples(st.floats(-1, 1), st.sampled_from("abcd")), min_size=3, max_size=12),
        st.floats(0.01, 0.2),
        st.floats(-1, 1),
    )
    def test_a_shift_of_all_changes_the_mean_alone(self, visits, sd, shift):
        mean = np.array([each for each, _ in visits])
        runway = [label for _, label in visits]
        found, shifted = runway_effects(mean, sd, runway), runway_effects(mean + shift, sd, runway)
        if isinstance(found, NotEnoughAttempts):
            assert shifted == found
            return

        assert isinstance(shifted, RunwayEffects)
        assert shifted.mean_m == pytest.approx(found.mean_m + shift, abs=1e-9)
        assert shifted.effect_m == pytest.approx(found.effect_m, abs=1e-7)
        assert np.isfinite([*found.effect_m, *found.effect_sd_m, found.mean_sd_m]).all()
        # Drawn toward nothing: never farther apart than the means of the visits.
        assert np.ptp(found.effect_m) <= np.ptp(mean) + 1e-12
