"""Mean gain into the board: by hand, against SciPy and statsmodels, by recovery."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.core import board_gain, gate_speeds
from analytics.core.board_gain import BoardGain, GainAnswer
from analytics.core.conventions import NotEnoughAttempts

NAN = float("nan")
ZONES = [11.0, 6.0, 1.0]


def timed(first_s, second_s, **options) -> gate_speeds.ZoneSpeeds:
    first, second = np.asarray(first_s, dtype=float), np.asarray(second_s, dtype=float)
    time = np.column_stack([np.zeros(first.size), first, first + second])
    return gate_speeds.zone_speeds(ZONES, time, **options)


def mean(zones, session, **options) -> BoardGain:
    found = board_gain.mean_gain(zones, session=session, **options)
    assert isinstance(found, BoardGain)
    return found


class TestMeanSpeed:
    def test_of_one_session_is_students_interval_with_the_timing_on_top(self):
        speed, timing = np.array([9.0, 9.1, 9.3, 9.1, 9.2]), np.full(5, 0.05)

        found = board_gain.mean_speed(
            speed, timing_sd_mps=timing, measured=[True] * 4 + [False], session=[1] * 5
        )

        assert isinstance(found, board_gain.MeanSpeed)
        error = np.hypot(stats.sem(speed), 0.05)
        low, high = stats.t.interval(0.95, 4, loc=speed.mean(), scale=error)
        assert (found.interval.low, found.interval.high) == pytest.approx((low, high))
        assert (found.n, found.n_sessions, found.n_measured) == (5, 1, 4)
        assert found.timing_sd_mps == pytest.approx(0.05)
        assert found.attempt_sd_mps == pytest.approx(speed.std(ddof=1))

    def test_of_equal_sessions_is_that_of_their_means(self):
        """With equal groups the mean of a mixed model is that of the session means (SciPy's t)."""
        means = np.array([9.0, 9.4, 9.1, 9.7])
        speed = (means[:, None] + [-0.05, 0.05]).ravel()
        session = np.repeat([1, 2, 3, 4], 2)

        found = board_gain.mean_speed(
            speed, timing_sd_mps=np.zeros(8), measured=[True] * 8, session=session
        )

        assert isinstance(found, board_gain.MeanSpeed)
        assert found.mean_mps == pytest.approx(means.mean())
        half = (found.interval.high - found.interval.low) / 2
        assert half > stats.t.ppf(0.975, 7) * stats.sem(speed)
        assert half == pytest.approx(stats.t.ppf(0.975, 3) * stats.sem(means), rel=0.05)

    def test_leaves_out_what_nobody_knows_and_says_what_is_missing(self):
        speed = [9.0, 9.1, NAN, 9.2, NAN]

        found = board_gain.mean_speed(
            speed, timing_sd_mps=[0.1] * 5, measured=[True] * 5, session=[1] * 5
        )

        assert found == NotEnoughAttempts(n=3, needed=5)

    def test_refuses_shapes_that_do_not_fit(self):
        with pytest.raises(ValueError, match="each speed needs"):
            board_gain.mean_speed([9.0], timing_sd_mps=[0.1] * 2, measured=[True], session=[1])


class TestByHand:
    def test_half_a_second_before_and_52_hundredths_after_lose_speed(self):
        found = mean(timed([0.5] * 6, [0.52] * 6), [1] * 6)

        assert found.gain_mps == pytest.approx(5 / 0.52 - 10)
        assert found.speed_11_6_mps == pytest.approx(10.0)
        assert found.n_measured == 6
        assert found.answer is GainAnswer.LOSES
        assert found.attempt_sd_mps == pytest.approx(0, abs=1e-9)
        assert found.own_sd_mps == 0

    def test_of_one_session_gates_that_stand_wrong_widen_what_attempts_cannot_narrow(self):
        rng = np.random.default_rng(1)
        first, second = rng.normal(0.5, 0.01, (2, 50))

        found = mean(timed(first, second, place_sd_m=0.05), [1] * 50)
        sure = mean(timed(first, second, place_sd_m=0.0), [1] * 50)

        # sqrt(6) v / 5 x 0.05 m, at 10 m/s.
        place = np.sqrt(6) * 10 / 5 * 0.05
        assert found.gain_standard_error_mps**2 == pytest.approx(
            sure.gain_standard_error_mps**2 + place**2, rel=0.02
        )
        assert not found.over_sessions

    def test_two_sessions_halve_that(self):
        rng = np.random.default_rng(1)
        first, second = rng.normal(0.5, 0.01, (2, 50))
        session = np.arange(50) % 2

        found = mean(timed(first, second, place_sd_m=0.05), session)
        sure = mean(timed(first, second, place_sd_m=0.0), session)

        added = found.gain_standard_error_mps**2 - sure.gain_standard_error_mps**2
        assert added == pytest.approx((np.sqrt(6) * 10 / 5 * 0.05) ** 2 / 2, rel=0.02)

    def test_what_the_clock_makes_is_not_the_athletes(self):
        rng = np.random.default_rng(2)
        own = rng.normal(0, 0.2, 4000)
        second = 5 / (10 + own)
        clock = rng.normal(0, 0.005, (4000, 3))
        time = np.column_stack([np.zeros(4000), np.full(4000, 0.5), 0.5 + second]) + clock

        found = mean(gate_speeds.zone_speeds(ZONES, time, clock_sd_s=0.005), np.zeros(4000))

        assert found.own_sd_mps == pytest.approx(0.2, rel=0.05)
        assert found.clock_sd_mps == pytest.approx(np.sqrt(6) * 20 * 0.005, rel=0.03)


class TestAgainstReferences:
    def test_one_session_has_the_t_interval(self):
        rng = np.random.default_rng(3)
        zones = timed(rng.normal(0.5, 0.01, 12), rng.normal(0.5, 0.01, 12), place_sd_m=0)

        found = mean(zones, [1] * 12)

        interval = stats.ttest_1samp(zones.gain_mps, 0).confidence_interval()
        assert found.gain_interval.low == pytest.approx(interval.low)
        assert found.gain_interval.high == pytest.approx(interval.high)

    def test_equal_sessions_have_the_interval_of_their_means(self):
        rng = np.random.default_rng(4)
        session = np.repeat(np.arange(5), 4)
        second = rng.normal(0.5, 0.004, 20) + rng.normal(0, 0.02, 5)[session]
        zones = timed(rng.normal(0.5, 0.004, 20), second)

        found = mean(zones, session)

        means = zones.gain_mps.reshape(5, 4).mean(axis=1)
        fit = sm.OLS(means, np.ones(5)).fit()
        assert found.over_sessions
        assert found.gain_standard_error_mps == pytest.approx(fit.bse[0])

    def test_the_probability_of_a_loss_is_that_of_the_one_sided_test(self):
        rng = np.random.default_rng(5)
        zones = timed(rng.normal(0.5, 0.01, 12), rng.normal(0.51, 0.01, 12), place_sd_m=0)

        found = mean(zones, [1] * 12)

        test = stats.ttest_1samp(zones.gain_mps, -0.3, alternative="greater")
        assert board_gain.probability_of_loss(found, more_than_mps=0.3) == pytest.approx(
            test.pvalue
        )


class TestWhatIsNotEnough:
    def test_attempts_without_both_zones_do_not_count(self):
        first = np.array([0.5, 0.5, 0.5, 0.5, NAN, 0.5])

        found = board_gain.mean_gain(timed(first, [0.5] * 6), session=[1] * 6)
        four = board_gain.mean_gain(timed(first[:5], [0.5] * 5), session=[1] * 5)

        assert isinstance(found, BoardGain)
        assert found.n == 5
        assert four == NotEnoughAttempts(n=4, needed=5)

    def test_one_attempt_in_each_session_shows_no_spread_within(self):
        zones = timed([0.5] * 6, [0.5, 0.51, 0.49, 0.5, 0.5, 0.52])

        assert board_gain.mean_gain(zones, session=range(6)) == NotEnoughAttempts(n=6, needed=7)

    @pytest.mark.parametrize("options", [{"session": [1]}, {"session": [1] * 5, "level": 1.0}])
    def test_bad_input_is_refused(self, options):
        with pytest.raises(ValueError, match=r"."):
            board_gain.mean_gain(timed([0.5] * 5, [0.5] * 5), **options)

    def test_a_limit_that_is_none_is_refused(self):
        found = mean(timed([0.5] * 5, [0.5] * 5), [1] * 5)

        with pytest.raises(ValueError, match="more_than"):
            board_gain.probability_of_loss(found, more_than_mps=NAN)

    def test_equal_attempts_are_sure_in_either_direction(self):
        found = mean(timed([0.5] * 5, [0.5] * 5, place_sd_m=0), [1] * 5)

        assert found.gain_mps == pytest.approx(0, abs=1e-9)
        assert board_gain.probability_of_loss(found, more_than_mps=-0.1) == 1
        assert board_gain.probability_of_loss(found, more_than_mps=0.1) == 0


class TestProperties:
    @given(seed=st.integers(0, 2**31), sessions=st.integers(1, 5))
    @settings(max_examples=25)
    def test_the_same_run_backwards_in_time_gains_what_it_lost(self, seed, sessions):
        rng = np.random.default_rng(seed)
        first, second = rng.uniform(0.4, 0.7, (2, 12))
        session = np.arange(12) % sessions

        found, other = mean(timed(first, second), session), mean(timed(second, first), session)

        assert other.gain_mps == pytest.approx(-found.gain_mps)
        assert other.gain_interval.low == pytest.approx(-found.gain_interval.high)
        flipped = {"gains": "loses", "loses": "gains", "not_shown": "not_shown"}
        assert other.answer.value == flipped[found.answer.value]
