"""What speed is worth: published values, least squares, attenuation, and what must not matter."""

import math
import warnings

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import example, given, settings
from hypothesis import strategies as st

from analytics.core import speed_to_distance
from analytics.core.speed_to_distance import Event, SpeedToDistance

NAN = float("nan")


def jumps(seed, *, n=30, sessions=5, slope=0.8, true_sd=0.12, clock_sd=0.08):
    """Return effective distances, measured speeds, and the session of each."""
    rng = np.random.default_rng(seed)
    session = np.arange(n) % sessions
    speed = 9.3 + rng.normal(0, true_sd, n) + rng.normal(0, 0.1, sessions)[session]
    distance = 6.5 + slope * (speed - 9.3) + rng.normal(0, 0.12, n)
    distance = distance + rng.normal(0, 0.15, sessions)[session]
    return distance, speed + rng.normal(0, clock_sd, n), session


def worth(distance, speed, session, *, clock_sd=0.08, **options) -> SpeedToDistance:
    options = {"usual_distance_m": 6.5} | options
    return speed_to_distance.speed_to_distance(
        distance, speed, session=session, speed_sd_mps=clock_sd, **options
    )


class TestPublishedValues:
    def test_before_any_attempt_a_tenth_is_worth_8_cm(self):
        # Within an athlete 0.08 m for each 0.1 m/s (Bridgett, Galloway & Linthorne 2002).
        found = worth([], [], [])

        assert 0.1 * found.slope_m == pytest.approx(0.08)
        assert found.slope_interval.low == pytest.approx(0.8 - 1.959964 * 0.3)
        assert (found.n, found.n_sessions) == (0, 0)
        assert found.own_share == pytest.approx(0, abs=1e-9)

    @pytest.mark.parametrize(
        ("event", "distance_m", "change_m"),
        # Half of 2.4 % and of 1.7 % (Hopkins 2005).
        [(Event.LONG_JUMP, 7.0, 0.084), (Event.TRIPLE_JUMP, 14.0, 0.119)],
    )
    def test_the_smallest_worthwhile_change_is_half_of_the_cv(self, event, distance_m, change_m):
        found = worth([], [], [], usual_distance_m=distance_m, event=event)

        assert found.smallest_change_m == pytest.approx(change_m)
        if event is Event.LONG_JUMP:
            assert found.speed_for_it_mps == pytest.approx(change_m / 0.8)

    def test_the_triple_jump_is_believed_half_as_firmly(self):
        found = worth([], [], [], event="triple_jump", usual_distance_m=14.0)

        assert found.slope_interval.low == pytest.approx(0.8 - 1.959964 * 0.6)
        assert (found.speed_for_it_mps, found.speed_for_it_interval) == (None, None)
        assert found.probability_positive == pytest.approx(0.909, abs=0.001)  # Phi(4/3)


class TestAgainstLeastSquares:
    def test_without_clock_error_many_attempts_give_the_line_with_a_level_for_each_session(self):
        distance, speed, session = jumps(1, n=600, clock_sd=0)

        found = worth(distance, speed, session, clock_sd=0)

        levels = np.equal.outer(session, np.arange(5)).astype(float)
        fit = sm.OLS(distance, np.column_stack([speed, levels])).fit()
        # The belief adds one row: 0.8 with SD 0.3.
        own = 1 / fit.bse[0] ** 2
        expected = (own * fit.params[0] + 0.8 / 0.3**2) / (own + 1 / 0.3**2)
        assert found.slope_m == pytest.approx(expected, abs=1e-3)
        assert found.reliability == pytest.approx(1)
        assert found.own_share == pytest.approx(own / (own + 1 / 0.3**2), abs=0.01)

    def test_a_noisy_clock_flattens_least_squares_and_not_this(self):
        distance, speed, session = jumps(2, n=3000)

        found = worth(distance, speed, session)

        centred = speed - np.array([speed[session == each].mean() for each in range(5)])[session]
        flat = float(centred @ distance / (centred @ centred))
        reliability = 0.12**2 / (0.12**2 + 0.08**2)
        assert flat == pytest.approx(0.8 * reliability, abs=0.04)
        assert found.reliability == pytest.approx(reliability, abs=0.03)
        assert found.slope_m == pytest.approx(flat / reliability, abs=0.04)
        assert found.slope_interval.low < 0.8 < found.slope_interval.high

    def test_a_spread_that_may_be_all_clock_leaves_what_is_usual(self):
        distance, speed, session = jumps(3, true_sd=0.0, clock_sd=0.2)

        found = worth(distance, speed, session, clock_sd=0.2)

        assert found.reliability < 0.3
        assert found.own_share < 0.15
        assert found.slope_m == pytest.approx(0.8, abs=0.15)

    def test_errors_of_clocks_may_differ(self):
        distance, speed, session = jumps(4)
        errors = np.where(np.arange(30) < 15, 0.06, 0.10)

        found = worth(distance, speed, session, clock_sd=errors)

        same = worth(distance, speed, session, clock_sd=math.sqrt((0.06**2 + 0.10**2) / 2))
        assert found.slope_m == pytest.approx(same.slope_m)


class TestEdges:
    def test_who_jumps_alone_in_a_session_is_compared_with_nobody(self):
        distance, speed, session = jumps(5)
        alone = worth([*distance, 9.9], [*speed, 8.0], [*session, 99])

        assert alone == worth(distance, speed, session)
        assert (alone.n, alone.n_sessions) == (30, 5)

    def test_what_is_missing_is_left_out(self):
        distance, speed, session = jumps(6)
        found = worth(distance[2:], speed[2:], session[2:])
        distance[0], speed[1] = NAN, NAN

        assert worth(distance, speed, session).slope_m == pytest.approx(found.slope_m)

    def test_one_session_of_equal_speeds_says_nothing(self):
        found = worth([6.4, 6.6, 6.5], [9.2, 9.2, 9.2], [1, 1, 1])

        assert found.slope_m == pytest.approx(0.8)
        assert found.n == 3

    @pytest.mark.parametrize(
        ("distance", "speed", "options"),
        [
            ([6.5], [9.0, 9.1], {}),
            ([np.inf], [9.0], {}),
            ([6.5], [np.inf], {}),
            ([6.5], [9.0], {"clock_sd": -0.1}),
            ([6.5], [9.0], {"clock_sd": NAN}),
            ([6.5], [9.0], {"clock_sd": [0.1, 0.1]}),
            ([6.5], [9.0], {"usual_distance_m": 0.0}),
            ([6.5], [9.0], {"usual_distance_m": NAN}),
            ([6.5], [9.0], {"event": "high_jump"}),
            ([6.5], [9.0], {"level": 0.0}),
        ],
    )
    def test_bad_input_is_refused(self, distance, speed, options):
        with pytest.raises(ValueError, match=r"."):
            worth(distance, speed, [1] * len(distance), **options)


class TestProperties:
    @given(seed=st.integers(0, 2**31), further=st.floats(-3, 3), faster=st.floats(-2, 2))
    @settings(max_examples=8)
    def test_only_differences_within_sessions_count(self, seed, further, faster):
        distance, speed, session = jumps(seed, n=12, sessions=3)

        with warnings.catch_warnings():
            warnings.simplefilter("error")
            found = worth(distance, speed, session)
            moved = worth(distance + further * session, speed + faster * session, session)

        assert moved.slope_m == pytest.approx(found.slope_m, abs=1e-6)
        assert moved.reliability == pytest.approx(found.reliability, abs=1e-6)

    @given(seed=st.integers(0, 2**31), n=st.integers(0, 20), clock_sd=st.floats(0, 0.5))
    @example(seed=4, n=6, clock_sd=0.0)  # the weights' rounding once made it more than 1
    @settings(max_examples=10)
    def test_every_answer_is_finite_and_in_order(self, seed, n, clock_sd):
        distance, speed, session = jumps(seed, n=n)

        found = worth(distance, speed, session, clock_sd=clock_sd)

        assert found.slope_interval.low < found.slope_m < found.slope_interval.high
        assert 0 <= found.reliability <= 1
        assert 0 <= found.own_share <= 1
        if found.speed_for_it_interval is not None and found.speed_for_it_mps is not None:
            low, high = found.speed_for_it_interval.low, found.speed_for_it_interval.high
            assert 0 < low < found.speed_for_it_mps < high < math.inf
