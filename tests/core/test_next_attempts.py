"""What is expected of the next attempts, against plain integration that knows no shortcut."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from analytics.core import next_attempts, quadrature
from analytics.core.baselines import PRIOR_BETWEEN_SHARE
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.next_attempts import NextAttempts

NAN = float("nan")
SESSION = np.repeat([1, 2, 3, 4], [4, 3, 4, 1])
TOE = np.array([0.11, 0.04, 0.15, -0.03, 0.02, -0.06, 0.05, 0.19, 0.08, 0.12, 0.06, -0.02])


def expect(toe, **options) -> NextAttempts:
    """Expect where every missing toe is that of a no jump."""
    toe = np.asarray(toe, dtype=float)
    result = next_attempts.expect_toe(toe, np.isnan(toe) | (toe < 0), **options)
    assert isinstance(result, NextAttempts)
    return result


def probability_below(expected: NextAttempts, limit_m: float) -> float:
    spread = np.hypot(expected.own_sd_m, expected.shared_sd_m)
    below = special.ndtr((limit_m - expected.shared_mean_m) / spread)
    return float(np.sum(expected.weight * below))


def straight(toe, session, now) -> tuple[float, float]:
    """Return P(x < 0) and the mean of the next attempt by generalised least squares on a grid.

    With V the covariance of all attempts, 1 the mean's column and c the covariance with the next
    attempt: best linear unbiased prediction, written out as in any textbook of mixed models.
    """
    same = (session[:, None] == session[None, :]).astype(float)
    with_next = (session == now).astype(float)
    ones = np.ones(toe.size)
    log_weight, means, spreads = [], [], []
    for ratio in np.linspace(0, 4, 121):
        unit = np.linalg.inv(np.eye(toe.size) + ratio**2 * same)
        _, log_det = np.linalg.slogdet(unit)
        information = ones @ unit @ ones
        mean = ones @ unit @ toe / information
        left = toe - mean
        c = ratio**2 * with_next
        next_mean = mean + c @ unit @ left
        unit_variance = (
            1 + ratio**2 - c @ unit @ c + (1 - ones @ unit @ c) ** 2 / information
        )  # fmt: skip
        for log_sd in np.linspace(-5, 2, 281):
            log_weight.append(
                0.5 * log_det
                - 0.5 * math.log(information)
                - (toe.size - 1) * log_sd
                - 0.5 * (left @ unit @ left) * math.exp(-2.0 * float(log_sd))
                - 0.5 * (ratio / PRIOR_BETWEEN_SHARE) ** 2
                - (math.log(2) if ratio == 0 else 0)
            )
            means.append(next_mean)
            spreads.append(math.sqrt(unit_variance) * math.exp(log_sd))
    weight = np.exp(np.array(log_weight) - max(log_weight))
    weight /= weight.sum()
    risk = weight @ stats.norm.cdf(-np.array(means) / np.array(spreads))
    return float(risk), float(weight @ np.array(means))


class TestWithoutSessions:
    @pytest.mark.parametrize("n", [5, 6, 12, 60])
    def test_the_next_attempt_follows_students_t(self, n: int):
        toe = np.random.default_rng(n).normal(0.06, 0.08, size=n)

        expected = expect(toe)

        t = stats.t(n - 1, toe.mean(), toe.std(ddof=1) * math.sqrt(1 + 1 / n))
        for limit in (-0.3, 0.0, 0.2, 0.5):
            assert probability_below(expected, limit) == pytest.approx(t.cdf(limit), abs=1e-7)
        assert expected.mean_m == pytest.approx(toe.mean(), abs=1e-12)

    def test_each_further_revision_costs_a_degree_of_freedom_and_lends_its_spread(self):
        earlier = np.array([1.0, 1.1, 1.05])
        latest = np.array([0.02, 0.10, 0.14, 0.05])

        expected = expect(np.append(earlier, latest), revision=[1] * 3 + [2] * 4)

        squares = np.sum((earlier - earlier.mean()) ** 2) + np.sum((latest - latest.mean()) ** 2)
        t = stats.t(5, latest.mean(), math.sqrt(squares / 5 * (1 + 1 / 4)))
        assert probability_below(expected, 0) == pytest.approx(t.cdf(0), abs=1e-7)


class TestHiddenNoJumps:
    def test_risk_is_that_of_the_whole_likelihood_integrated(self):
        toe = np.where(TOE < 0, NAN, TOE)

        expected = expect(toe)

        mean, log_sd = np.meshgrid(np.linspace(-1, 0.6, 801), np.linspace(-5, 1, 241))
        sd = np.exp(log_sd)
        log_weight = np.asarray(3 * stats.norm.logcdf(0, mean, sd))
        for value in toe[~np.isnan(toe)]:
            log_weight += stats.norm.logpdf(value, mean, sd)
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        # What is shared is taken as normal given the SD, which is not exact here.
        assert expected.mean_m == pytest.approx(float(np.sum(weight * mean)), abs=1e-5)
        risk = float(np.sum(weight * stats.norm.cdf(0, mean, sd)))
        assert probability_below(expected, 0) == pytest.approx(risk, abs=1e-3)

    @pytest.mark.slow
    def test_with_sessions_it_is_that_of_weighted_draws(self):
        # Draws from what the measured toes say, each weighted by P(all hidden ones beyond).
        toe = np.where(TOE < 0, NAN, TOE)
        seen = ~np.isnan(toe)
        expected = expect(toe, session=SESSION)
        rng = np.random.default_rng(5)
        runs = 400_000
        ratio = np.abs(rng.normal(0, PRIOR_BETWEEN_SHARE, runs))
        log_sd = rng.uniform(-4.5, 0.5, runs)
        mean = rng.uniform(-0.8, 1.0, runs)
        sd = np.exp(log_sd)
        log_weight = np.zeros(runs)
        for each in np.unique(SESSION):
            effect = rng.normal(0, 1, (16, runs)) * ratio * sd
            inside = np.zeros((16, runs))
            for value in toe[seen & (each == SESSION)]:
                inside += stats.norm.logpdf(value, mean + effect, sd)
            hidden = np.count_nonzero(~seen & (each == SESSION))
            inside += hidden * special.log_ndtr(-(mean + effect) / sd)
            log_weight += special.logsumexp(inside, axis=0)
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        risk = weight @ special.ndtr(-mean / (sd * np.sqrt(1 + ratio**2)))

        effective = 1 / np.sum(weight**2)
        assert effective > 2000
        assert probability_below(expected, 0) == pytest.approx(float(risk), abs=0.01)
        assert expected.mean_m == pytest.approx(float(weight @ mean), abs=0.004)

    def test_today_a_hidden_no_jump_says_that_today_stands_nearer(self):
        toe = np.array([0.08, 0.12, 0.05, 0.10, 0.07, 0.09, 0.11, 0.06])
        session = [1, 1, 1, 1, 2, 2, 2, 2]

        before = expect(toe, session=session, session_now=3)
        after = expect(
            np.append(toe, [NAN, NAN]), session=[*session, 3, 3], session_now=3
        )  # fmt: skip

        assert after.mean_m < before.mean_m
        assert probability_below(after, 0) > probability_below(before, 0)

    def test_a_gap_says_nothing(self):
        toe = np.append(TOE, NAN)

        result = next_attempts.expect_toe(toe, toe < 0)

        assert isinstance(result, NextAttempts)
        assert (result.n, result.n_unmeasured_no_jumps) == (12, 0)
        assert result.mean_m == pytest.approx(TOE.mean())


class TestSessions:
    @pytest.mark.parametrize("now", [9, 1, 4])
    def test_equal_best_linear_prediction_integrated_over_both_spreads(self, now: int):
        expected = expect(TOE, session=SESSION, session_now=now)

        risk, mean = straight(TOE, SESSION, now)
        assert probability_below(expected, 0) == pytest.approx(risk, abs=2e-4)
        assert expected.mean_m == pytest.approx(mean, abs=1e-4)

    def test_a_new_session_adds_to_the_spread(self):
        together = expect(TOE)
        apart = expect(TOE, session=SESSION)

        assert probability_below(apart, -0.3) > probability_below(together, -0.3)

    def test_one_session_leaves_what_is_usual_to_a_new_one(self):
        one = expect(TOE, session=[1] * 12)
        today = expect(TOE, session=[1] * 12, session_now=1)

        # Today's own session effect does not matter, whatever it is.
        t = stats.t(11, TOE.mean(), TOE.std(ddof=1) * math.sqrt(1 + 1 / 12))
        assert probability_below(today, 0) == pytest.approx(t.cdf(0), abs=1e-6)
        assert probability_below(one, -0.2) > 2 * t.cdf(-0.2)

    def test_many_sessions_overrule_the_prior(self):
        rng = np.random.default_rng(3)
        session = np.repeat(np.arange(150), 4)
        toe = 0.06 + rng.normal(0, 0.10, 150)[session] + rng.normal(0, 0.05, 600)

        expected = expect(toe, session=session)

        ratio = np.sum(expected.weight * expected.shared_sd_m / expected.own_sd_m)
        assert ratio == pytest.approx(2.0, abs=0.2)  # the prior's middle is 0.47


class TestNodes:
    @pytest.mark.parametrize("options", [{}, {"session": SESSION}])
    def test_keep_the_chance_of_one_and_of_three_no_jumps(self, options):
        expected = expect(TOE, **options)
        many = next_attempts.nodes(expected, n_sds=16, n_means=24)

        few = next_attempts.nodes(expected)

        for power in (1, 3):
            exact = many.weight @ special.ndtr(-many.mean_m / many.sd_m) ** power
            kept = few.weight @ special.ndtr(-few.mean_m / few.sd_m) ** power
            assert kept == pytest.approx(exact, abs=5e-4)
        assert few.weight.sum() == pytest.approx(1)
        assert few.weight @ few.mean_m == pytest.approx(expected.mean_m, abs=5e-5)
        assert few.weight.size == 50

    def test_of_one_measured_by_gauss_and_legendre(self):
        # Gauss-Legendre with 3 nodes on (-1, 1): 0 and sqrt(3/5), weights 8/9 and 5/9 (textbook).
        places = np.linspace(-1, 1, 20_001)

        nodes, weights = quadrature.gauss_rule(places, np.ones(places.size), 3)

        assert nodes == pytest.approx([-math.sqrt(0.6), 0, math.sqrt(0.6)], abs=1e-4)
        assert weights == pytest.approx([5 / 18, 8 / 18, 5 / 18], abs=1e-4)

    def test_are_as_few_as_there_are_places(self):
        nodes, weights = quadrature.gauss_rule(np.array([1.0, 3.0]), np.array([3.0, 1.0]), 6)

        assert nodes == pytest.approx([1, 3])
        assert weights == pytest.approx([0.75, 0.25])


class TestRefusals:
    def test_too_few_measured(self):
        result = next_attempts.expect_toe([0.1] * 4 + [NAN], [False] * 4 + [True])

        assert result == NotEnoughAttempts(n=4, needed=5)

    def test_one_more_for_each_further_revision(self):
        result = next_attempts.expect_toe([0.1] * 5, [False] * 5, revision=[1, 1, 1, 2, 2])

        assert result == NotEnoughAttempts(n=5, needed=6)

    def test_no_measured_toe_in_the_latest_revision(self):
        result = next_attempts.expect_toe(
            [0.1] * 6 + [NAN], [False] * 6 + [True], revision=[1] * 6 + [2]
        )

        assert result == NotEnoughAttempts(n=0, needed=1)

    def test_a_session_now_without_sessions(self):
        with pytest.raises(ValueError, match="session_now"):
            next_attempts.expect_toe(TOE, TOE < 0, session_now=1)

    @pytest.mark.parametrize("bad", [[[6.5]], [6.5, float("inf")], [6.5, 0.0]])
    def test_distances_that_are_none(self, bad):
        with pytest.raises(ValueError, match="effective_m"):
            next_attempts.expect_distance(bad)

    @pytest.mark.parametrize(("mean", "sd"), [(NAN, 0.1), (0.1, 0.0), (0.1, float("inf"))])
    def test_a_known_spread_that_is_none(self, mean: float, sd: float):
        with pytest.raises(ValueError, match="sd_m"):
            next_attempts.known(mean, sd)

    @pytest.mark.parametrize("counts", [{"n_sds": 0}, {"n_means": 0}])
    def test_no_nodes(self, counts):
        with pytest.raises(ValueError, match="at least 1"):
            next_attempts.nodes(next_attempts.known(0.06, 0.08), **counts)


class TestProperties:
    @settings(max_examples=30, deadline=None)
    @given(
        st.lists(st.floats(-0.4, 0.6).map(lambda x: round(x, 3)), min_size=5, max_size=20),
        st.integers(0, 8),
        st.sampled_from([None, 1, 3]),
    )
    def test_finite_in_finite_out_and_no_warning(self, toe, n_hidden: int, per_session):
        toe = np.array(toe + [NAN] * n_hidden)
        session = None if per_session is None else np.arange(toe.size) // per_session

        expected = next_attempts.expect_toe(toe, ~(toe >= 0), session=session)

        assert isinstance(expected, NextAttempts)
        for array in (expected.own_sd_m, expected.shared_mean_m, expected.shared_sd_m):
            assert np.isfinite(array).all()
        assert expected.weight.sum() == pytest.approx(1)
        assert (expected.shared_sd_m > 0).all()

    @settings(max_examples=20, deadline=None)
    @given(st.floats(-0.5, 0.5))
    def test_shifting_all_distances_shifts_the_mean_only(self, shift: float):
        ours = expect(TOE + 1, session=SESSION)
        shifted = expect(TOE + 1 + shift, session=SESSION)

        assert shifted.mean_m == pytest.approx(ours.mean_m + shift, abs=1e-9)
        assert shifted.shared_sd_m == pytest.approx(ours.shared_sd_m, rel=1e-6)
