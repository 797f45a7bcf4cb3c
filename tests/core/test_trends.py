"""The slope over sessions: published examples, another implementation, and what must not matter."""

import itertools
import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.core import trends
from analytics.core.conventions import NotEnoughAttempts

NAN = float("nan")

series = st.lists(
    st.tuples(st.integers(0, 400), st.floats(-0.5, 0.5)),
    min_size=trends.MIN_POINTS,
    max_size=25,
    unique_by=lambda point: point[0],
)


def trend_of(points, day, **options) -> trends.Trend:
    found = trends.find_trend(points, day, **options)
    assert isinstance(found, trends.Trend)
    return found


class TestPublished:
    def test_example_of_sen(self):
        # Sen 1968, J Am Stat Assoc 63:1379-1389: slope 4, and at 93 % from 26/7 to 35/8 (his
        # printed interval has a slip, put right so in the tests of the R package deming).
        found = trend_of([9, 15, 19, 20, 45, 55, 78], [1, 2, 3, 4, 10, 12, 18], level=0.93)

        assert found.slope_per_week == pytest.approx(7 * 4)
        assert found.interval_per_week.low == pytest.approx(7 * 26 / 7)
        assert found.interval_per_week.high == pytest.approx(7 * 35 / 8)

    def test_example_with_sessions_on_the_same_day(self):
        # Documentation of the R package statpsych, ci.theil: 0.5, from 0.3243243 to 0.75.
        points = [21, 4, 9, 12, 35, 18, 10, 22, 24, 1, 6, 8, 13, 16, 19]
        day = [67, 28, 30, 28, 52, 40, 25, 37, 44, 10, 14, 20, 28, 40, 51]

        found = trend_of(points, day)

        assert found.slope_per_week == pytest.approx(7 * 0.5)
        assert found.interval_per_week.low == pytest.approx(7 * 0.3243243, abs=1e-6)
        assert found.interval_per_week.high == pytest.approx(7 * 0.75)


class TestSlope:
    @given(series)
    def test_is_the_median_over_all_pairs(self, points):
        day, values = zip(*points, strict=True)

        found = trend_of(values, day)

        slopes = [(b - a) / (t - s) for (s, a), (t, b) in itertools.combinations(points, 2)]
        assert found.slope_per_week == pytest.approx(7 * statistics.median(slopes), abs=1e-12)

    @given(series)
    def test_lies_in_its_interval(self, points):
        day, values = zip(*points, strict=True)

        found = trend_of(values, day)

        interval = found.interval_per_week
        assert interval.low - 1e-12 <= found.slope_per_week <= interval.high + 1e-12

    @given(series, st.integers(0, 10_000))
    def test_does_not_depend_on_order_or_on_where_days_are_counted_from(self, points, seed):
        rng = np.random.default_rng(seed)
        day, values = np.array(points).T
        order = rng.permutation(day.size)

        there = trend_of(values, day)
        back = trend_of(values[order], day[order] + 20_000)

        assert back.slope_per_week == pytest.approx(there.slope_per_week, abs=1e-12)
        assert back.interval_per_week.low == pytest.approx(there.interval_per_week.low, abs=1e-12)
        assert back.span_days == there.span_days

    @given(series, st.floats(-0.1, 0.1))
    def test_of_points_turned_by_a_line_is_turned_by_it(self, points, tilt):
        day, values = np.array(points).T

        plain = trend_of(values, day)
        turned = trend_of(values + tilt * day, day)

        assert turned.slope_per_week == pytest.approx(plain.slope_per_week + 7 * tilt, abs=1e-9)

    def test_is_not_moved_by_two_wild_sessions_of_ten(self):
        day = np.arange(10.0)
        values = 0.01 * day
        values[[3, 7]] = 5.0, -4.0

        found = trend_of(values, day)

        assert found.slope_per_week == pytest.approx(0.07)
        assert abs(stats.linregress(day, values).slope) > 0.1

    def test_interval_agrees_with_kendalls_test(self):
        # The interval is the set of slopes that Kendall's test does not refuse.
        rng = np.random.default_rng(2)
        for _ in range(40):
            day = np.sort(rng.uniform(0, 90, 15))
            values = rng.normal(0, 0.05, 15) + 0.0007 * day
            interval = trend_of(values, day).interval_per_week

            p = stats.kendalltau(day, values, method="asymptotic").pvalue

            # Its ranks are whole numbers: close to 5 % either may come first.
            if not 0.035 < p < 0.065:
                assert (interval.low > 0 or interval.high < 0) == (p < 0.05)


class TestEdges:
    def test_missing_sessions_are_left_out(self):
        day = [0, 7, 14, 21, 28, 35, 42]

        found = trend_of([0.0, 0.1, NAN, 0.3, 0.4, 0.5, 0.6], day)

        assert found.n == 6
        assert found.slope_per_week == pytest.approx(0.1)

    def test_five_days_are_too_few(self):
        found = trends.find_trend([0.1, 0.2, 0.3, 0.4, 0.5, 0.6], [1, 2, 3, 4, 5, 5])

        assert found == NotEnoughAttempts(n=5, needed=6)

    def test_no_session_at_all(self):
        assert trends.find_trend([], []) == NotEnoughAttempts(n=0, needed=6)

    def test_equal_values_have_no_slope(self):
        found = trend_of([0.06] * 8, range(8))

        assert found.slope_per_week == 0
        assert (found.interval_per_week.low, found.interval_per_week.high) == (0, 0)

    @pytest.mark.parametrize(
        ("points", "day", "message"),
        [
            ([0.1] * 6, [1.0] * 5, "one value for each session"),
            ([[0.1] * 6], [[1.0] * 6], "one value for each session"),
            ([0.1] * 5 + [float("inf")], range(6), "infinite"),
            ([0.1] * 6, [0, 1, 2, 3, 4, NAN], "day must be finite"),
        ],
    )
    def test_refuses(self, points, day, message):
        with pytest.raises(ValueError, match=message):
            trends.find_trend(points, day)

    def test_refuses_a_level_outside_its_range(self):
        with pytest.raises(ValueError, match="level"):
            trends.find_trend([0.1] * 6, range(6), level=1.0)
