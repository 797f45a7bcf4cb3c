"""How deviations are passed on: against regression, differences and simulated steering."""

import numpy as np
import pytest
import statsmodels.api as sm

from analytics.core import simulator
from analytics.core.run_up_steering import (
    MOST_GAIN,
    USUAL_HABITS,
    Habits,
    Steering,
    estimate_steering,
)
from analytics.core.simulator import Athlete

TRUTH = simulator.plan_run_up(Athlete()).toe_m


def estimated(
    athlete: Athlete, *, n: int = 40, seed: int = 1, habits: Habits = USUAL_HABITS
) -> Steering:
    made = simulator.simulate(athlete, attempts_by_session=[n], rng=np.random.default_rng(seed))
    return estimate_steering(made.toe_m, made.session, natural_m=TRUTH, habits=habits)


def passed_on(gain: np.ndarray) -> np.ndarray:
    """Return what is left of a wrong mark at footfalls 0 to n: the product of what steps leave."""
    left = np.cumprod(1 - gain[::-1])[::-1]
    return np.append(left, 1.0)


class TestGains:
    def test_are_regression_slopes_where_nothing_usual_is_believed(self):
        made = simulator.simulate(
            Athlete(), attempts_by_session=[15, 15], rng=np.random.default_rng(2)
        )
        open_minded = Habits(gain_sd=1e6, early_gain_sd=1e6, reading_sd_m=0.0)

        found = estimate_steering(made.toe_m, made.session, natural_m=TRUTH, habits=open_minded)

        days = sm.add_constant(made.session.astype(float))
        for k in (1, 3, 5):
            toe = made.toe_m[:, [k, k - 1]]
            seen = ~np.isnan(toe).any(axis=1)
            length = toe[seen, 0] - toe[seen, 1]
            fit = sm.OLS(length, np.column_stack([days[seen], toe[seen, 0]])).fit()
            assert found.gain[k - 1] == pytest.approx(np.clip(fit.params[2], 0, MOST_GAIN))

    def test_of_many_attempts_are_the_athletes(self):
        found = estimated(Athlete(steering_gain=0.6, perception_sd_m=0.0), n=2000)

        assert found.gain[:5] == pytest.approx(0.6, abs=0.06)
        assert found.gain[5:] == pytest.approx(0.0, abs=0.06)

    def test_get_surer_with_attempts(self):
        few, many = (estimated(Athlete(), n=n).gain_variance for n in (6, 60))

        assert np.all(many < few)
        assert few[:5].max() < 0.25**2

    def test_are_the_usual_ones_where_nothing_was_measured(self):
        toe = np.full((5, 17), np.nan)

        found = estimate_steering(toe, np.zeros(5, dtype=np.int64), natural_m=TRUTH)

        assert found.gain.tolist() == [0.35] * 5 + [0.0] * 11
        assert found.gain_variance == pytest.approx([0.25**2] * 5 + [0.10**2] * 11)


class TestChain:
    def test_passes_on_what_the_steps_leave(self):
        found = estimated(Athlete())

        assert found.passed == pytest.approx(passed_on(found.gain))

    def test_bends_as_the_gains_do(self):
        found = estimated(Athlete())
        small = 1e-6

        for k in range(16):
            way = small * (np.arange(16) == k)
            slope = (passed_on(found.gain + way) - passed_on(found.gain - way)) / (2 * small)
            assert found.bent[:, k] == pytest.approx(slope, abs=1e-8)

    def test_a_long_day_brings_the_foot_nearer_by_the_usual_amount(self):
        nobody_steers = Habits(steered_steps=0, early_gain_sd=1e-9, session_sd_m=0.06)

        found = estimated(Athlete(steering_from=0), habits=nobody_steers)

        # With no steering the whole of it is left at the board, half of it halfway.
        assert found.stretched[0] == pytest.approx(-0.06)
        half = np.interp((TRUTH[0] + TRUTH[-1]) / 2, TRUTH, found.stretched)
        assert half == pytest.approx(-0.03)
        assert found.stretched[-1] == 0.0

    def test_noise_is_that_of_simulated_attempts(self):
        athlete = Athlete(
            session_sd_m=0,
            wind_sd_mps=0,
            persistence=0,
            perception_sd_m=0,
            measurement_sd_m=0.01,
            unmeasured_no_jump_share=0,
        )
        made = simulator.simulate(athlete, attempts_by_session=[3000], rng=np.random.default_rng(4))

        found = estimate_steering(made.toe_m, made.session, natural_m=TRUTH)

        # 3,000 attempts know an SD to 1.3 %.
        assert np.sqrt(np.diag(found.noise)) == pytest.approx(made.toe_m.std(axis=0), rel=0.08)
        correlation = np.corrcoef(made.toe_m.T)
        sd = np.sqrt(np.diag(found.noise))
        assert found.noise / np.outer(sd, sd) == pytest.approx(correlation, abs=0.08)
