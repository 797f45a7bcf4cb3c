"""Needed and made: by hand, against statsmodels, by properties, and on simulated attempts."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.core import needed_made, simulator
from analytics.core.conventions import NotEnoughAttempts

NAN = float("nan")


def describe(toe, **options) -> needed_made.NeededMade:
    result = needed_made.needed_and_made(toe, **options)
    assert isinstance(result, needed_made.NeededMade)
    return result


def two_footfalls(rng: np.random.Generator, *, gain: float, n: int, noise: float = 0.0):
    """Return a step that starts with SD 0.20 m, takes back `gain` of it and adds SD 0.05 m."""
    start = rng.normal(0, 0.20, n)
    end = (1 - gain) * start + rng.normal(0, 0.05, n)
    return np.column_stack([0.06 + end, 2.2 + start]) + rng.normal(0, noise, (n, 2))


class TestByHand:
    def test_a_step_that_takes_half_back(self):
        # Needed 2, -1, 1, -2, 1, -1 tenths; made half of it, and 0.3 tenths more or less.
        needed = np.array([0.2, -0.1, 0.1, -0.2, 0.1, -0.1])
        extra = np.array([0.03, 0.03, -0.03, 0.0, -0.03, 0.0])
        toe = np.column_stack([0.06 + needed - (0.5 * needed + extra), 2.0 + needed])

        result = describe(toe)

        # sum xx = 0.12; sum x extra = 0.006 - 0.003 - 0.003 + 0 - 0.003 = -0.003.
        assert result.gain_observed[0] == pytest.approx(0.5 - 0.003 / 0.12)
        assert result.df[0] == 4
        assert result.needed_sd_m[0] == pytest.approx(np.sqrt(0.12 / 5))

    def test_whoever_does_not_steer_makes_what_is_planned(self):
        start = np.array([0.2, -0.1, 0.1, -0.2, 0.1, -0.1])

        result = describe(np.column_stack([0.06 + start, 2.2 + start]))

        assert result.gain_observed[0] == pytest.approx(0.0, abs=1e-12)

    def test_a_start_error_passes_through_what_no_step_takes_back(self):
        assert needed_made.pass_through([0.5, 0.2, 0.0]) == pytest.approx(0.4)
        assert needed_made.pass_through([0.5, 0.2, 0.0], to_footfall=1) == pytest.approx(0.8)
        assert np.isnan(needed_made.pass_through([0.5, NAN]))


class TestAgainstStatsmodels:
    @pytest.mark.parametrize("n_revisions", [1, 3])
    def test_is_the_line_of_ordinary_least_squares(self, n_revisions: int):
        rng = np.random.default_rng(2)
        toe = two_footfalls(rng, gain=0.4, n=24)
        revision = np.arange(24) % n_revisions
        toe += 0.3 * revision[:, None]

        result = describe(toe, revision=revision)

        levels = np.equal.outer(revision, np.arange(n_revisions)).astype(float)
        fit = sm.OLS(toe[:, 1] - toe[:, 0], np.column_stack([toe[:, 1], levels])).fit()
        assert result.gain_observed[0] == pytest.approx(fit.params[0], rel=1e-9)
        assert result.standard_error[0] == pytest.approx(fit.bse[0], rel=1e-9)
        assert result.p_value[0] == pytest.approx(fit.pvalues[0], rel=1e-7)
        low, high = fit.conf_int()[0]
        assert (result.gain_low[0], result.gain_high[0]) == pytest.approx((low, high))

    def test_correlation_is_scipys(self):
        toe = two_footfalls(np.random.default_rng(3), gain=0.4, n=15)

        result = describe(toe)

        r = stats.pearsonr(toe[:, 1], toe[:, 1] - toe[:, 0]).statistic
        assert result.correlation[0] == pytest.approx(r)


class TestReadingErrors:
    def test_push_the_slope_up_and_the_correction_takes_that_back(self):
        rng = np.random.default_rng(4)
        toe = two_footfalls(rng, gain=0.30, n=40_000, noise=0.05)

        result = describe(toe, measurement_sd_m=0.05)

        assert result.gain_observed[0] == pytest.approx(0.30 + 0.70 * 0.0025 / 0.0425, abs=0.01)
        assert result.gain[0] == pytest.approx(0.30, abs=0.01)

    def test_division_by_the_reliability_goes_the_wrong_way(self):
        # The worked case: variance 0.0025 of reading errors in 0.00875, true gain 0.30.
        rng = np.random.default_rng(6)
        n, noise = 200_000, 0.05
        start = rng.normal(0, np.sqrt(0.00625), n)
        toe = np.column_stack([0.7 * start, 2 + start]) + rng.normal(0, noise, (n, 2))

        result = describe(toe, measurement_sd_m=noise)

        assert result.gain_observed[0] == pytest.approx(0.50, abs=0.01)
        assert result.gain_observed[0] / (0.00625 / 0.00875) == pytest.approx(0.70, abs=0.01)
        assert result.gain[0] == pytest.approx(0.30, abs=0.01)

    def test_null_is_what_errors_alone_make(self):
        toe = two_footfalls(np.random.default_rng(5), gain=0.0, n=40_000, noise=0.05)

        result = describe(toe, measurement_sd_m=0.05)

        assert result.gain_observed[0] == pytest.approx(float(result.null_gain[0]), abs=0.01)

    def test_that_are_half_of_the_variance_are_not_corrected(self):
        toe = two_footfalls(np.random.default_rng(5), gain=0.3, n=20)
        spread = float(np.var(toe[:, 1], ddof=1))

        result = describe(toe, measurement_sd_m=np.sqrt(0.51 * spread))

        assert np.isnan(result.gain[0])
        assert np.isfinite(result.gain_observed[0])


class TestWhatIsNotEnough:
    def test_five_attempts_are_not(self):
        toe = two_footfalls(np.random.default_rng(1), gain=0.3, n=5)

        assert needed_made.needed_and_made(toe) == NotEnoughAttempts(n=5, needed=6)

    def test_a_second_revision_needs_one_more(self):
        toe = two_footfalls(np.random.default_rng(1), gain=0.3, n=6)

        assert needed_made.needed_and_made(toe, revision=[1, 1, 1, 2, 2, 2]) == NotEnoughAttempts(
            n=6, needed=7
        )

    def test_a_step_with_too_few_is_left_out_alone(self):
        rng = np.random.default_rng(1)
        toe = np.column_stack([two_footfalls(rng, gain=0.3, n=8), 4.4 + rng.normal(0, 0.2, 8)])
        toe[:3, 2] = NAN

        result = describe(toe)

        assert np.isfinite(result.gain[0])
        assert np.isnan(result.gain[1])
        assert result.n_attempts.tolist() == [8, 5]

    def test_a_footfall_that_never_moves_says_nothing(self):
        toe = np.column_stack([np.linspace(0, 0.1, 8), np.full(8, 2.2)])

        assert np.isnan(describe(toe).gain[0])

    @pytest.mark.parametrize(
        ("toe", "options"),
        [
            ([0.1, 0.2], {}),
            ([[0.1]], {}),
            ([[np.inf, 2.0]], {}),
            ([[0.1, 2.0]], {"measurement_sd_m": -0.1}),
            ([[0.1, 2.0]], {"measurement_sd_m": NAN}),
            ([[0.1, 2.0]], {"level": 1.0}),
            ([[0.1, 2.0]], {"revision": [1, 2]}),
        ],
    )
    def test_bad_input_is_refused(self, toe, options):
        with pytest.raises(ValueError, match=r"."):
            needed_made.needed_and_made(toe, **options)


class TestProperties:
    @given(
        shift=st.floats(-5, 5),
        scale=st.floats(0.1, 10),
        seed=st.integers(0, 2**31),
        missing=st.floats(0, 0.3),
    )
    def test_shift_and_units_do_not_matter(self, shift, scale, seed, missing):
        rng = np.random.default_rng(seed)
        toe = two_footfalls(rng, gain=0.4, n=20)
        toe[rng.random(toe.shape) < missing] = NAN

        result = needed_made.needed_and_made(toe, measurement_sd_m=0.01)
        other = needed_made.needed_and_made(toe * scale + shift, measurement_sd_m=0.01 * scale)

        if isinstance(result, NotEnoughAttempts):
            assert other == result
        else:
            assert isinstance(other, needed_made.NeededMade)
            assert other.gain == pytest.approx(result.gain, rel=1e-6, abs=1e-9)
            assert other.p_value == pytest.approx(result.p_value, rel=1e-5, abs=1e-12)

    @given(gains=st.lists(st.floats(0, 1), max_size=20))
    def test_pass_through_is_a_share(self, gains):
        assert 0 <= needed_made.pass_through(gains) <= 1


class TestOnASimulatedAthlete:
    def test_finds_where_the_steering_is(self):
        athlete = simulator.Athlete(
            steering_from=4, steering_gain=0.6, perception_sd_m=0.02, measurement_sd_m=0.005
        )
        attempts = simulator.simulate(
            athlete, attempts_by_session=[200] * 5, rng=np.random.default_rng(8)
        )

        result = describe(attempts.toe_m, measurement_sd_m=0.005)

        assert result.gain[:4] == pytest.approx(0.6, abs=0.08)
        assert result.gain[4:10] == pytest.approx(0.0, abs=0.08)

    def test_the_inverse_of_the_pass_through_is_anybodys_guess(self):
        inverse = []
        for seed in range(300):
            attempts = simulator.simulate(
                simulator.Athlete(), attempts_by_session=[20], rng=np.random.default_rng(seed)
            )
            result = describe(attempts.toe_m, measurement_sd_m=0.005)
            inverse.append(1 / needed_made.pass_through(result.gain[:5]))

        # Five steps that each take back 0.45: the true inverse is 1 / 0.55^5 = 19.9.
        low, high = np.quantile(inverse, [0.025, 0.975])
        assert 5 < low < 11
        assert high > 80

    @pytest.mark.slow
    @pytest.mark.parametrize("gain", [0.0, 0.3, 0.7])
    @pytest.mark.parametrize("n", [10, 20, 40])
    def test_the_interval_covers(self, gain: float, n: int):
        rng = np.random.default_rng(100 * n)
        hits = 0
        for _ in range(1000):
            result = describe(two_footfalls(rng, gain=gain, n=n, noise=0.03), measurement_sd_m=0.03)
            hits += bool(result.gain_low[0] <= gain <= result.gain_high[0])

        # Reading errors make the t interval approximate: a little under its level.
        assert 0.925 <= hits / 1000 <= 0.970
