"""One lasting shift: a textbook series, other implementations, how often it is found wrongly."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from sklearn.tree import DecisionTreeRegressor
from statsmodels.datasets import nile

from analytics.core import breaks
from analytics.core.conventions import NotEnoughAttempts

NAN = float("nan")

values = st.floats(-0.5, 0.5).map(lambda x: round(x, 3))


def search(points, **options) -> breaks.BreakSearch:
    options.setdefault("rng", np.random.default_rng(1))
    found = breaks.find_break(points, **options)
    assert isinstance(found, breaks.BreakSearch)
    return found


class TestPublished:
    def test_flow_of_the_nile(self):
        # The flow at Aswan falls after 1898, its 28th value; the R package strucchange says 95 %
        # from the 25th to the 32nd (read in a page that prints it), largest F 75.93 (from memory).
        found = search(nile.load_pandas().data["volume"].to_numpy())

        assert found.largest_f == pytest.approx(75.93, abs=0.005)
        assert found.p == 0.001
        assert found.shift is not None
        assert found.shift.after == 28
        assert 25 <= found.shift.earliest <= 28 <= found.shift.latest <= 32
        # Mean flow of the years from 1899 on less that of those up to 1898 (from memory).
        assert found.shift.change_m == pytest.approx(849.97 - 1097.75, abs=2)


class TestSplit:
    @given(st.lists(values, min_size=10, max_size=30))
    def test_is_that_of_a_regression_tree_with_one_question(self, points):
        found = search(points, n_permutations=19)

        tree = DecisionTreeRegressor(max_depth=1, min_samples_leaf=3)
        tree.fit(np.arange(len(points))[:, None], points)
        fitted = tree.predict(np.arange(len(points))[:, None])
        left = float(np.sum((np.array(points) - fitted) ** 2))
        total = float(np.sum((np.array(points) - np.mean(points)) ** 2))
        if left > 1e-9:
            expected = (len(points) - 2) * (total - left) / left
            assert found.largest_f == pytest.approx(expected, rel=1e-6, abs=1e-6)

    def test_f_is_that_of_two_groups(self):
        points = [0.02, -0.03, 0.01, 0.00, -0.02, 0.03, 0.11, 0.14, 0.09, 0.12, 0.13, 0.10]

        found = search(points)

        reference = stats.f_oneway(points[:6], points[6:])
        assert found.largest_f == pytest.approx(reference.statistic)

    def test_by_hand(self):
        # Means 0 and 0.10: 0.05 from the whole. Eight points lie 0.01 from their mean, two on it.
        points = [0.01, -0.01, 0.01, -0.01, 0.0, 0.11, 0.09, 0.11, 0.09, 0.10]

        found = search(points)

        assert found.largest_f == pytest.approx(8 * (10 * 0.05**2) / (8 * 0.01**2))

    def test_keeps_to_the_shortest_part(self):
        # A wild first point alone would be the best split.
        points = [0.9, 0.01, 0.02, 0.0, 0.01, -0.01, 0.0, 0.02, 0.0, 0.01]

        alone = search(points, min_on_each_side=1)
        usual = search(points)

        assert alone.largest_f is not None
        assert usual.largest_f is not None
        assert alone.largest_f > 100
        assert usual.largest_f < 5


class TestChance:
    @pytest.mark.parametrize(("n", "low", "high"), [(20, 0.18, 0.26), (40, 0.30, 0.39)])
    def test_f_with_one_degree_of_freedom_would_find_breaks_where_none_are(self, n, low, high):
        # Simulated while designing: 21 to 35 %, with at least 5 points on each side.
        rng = np.random.default_rng(3)
        limit = stats.f.ppf(0.95, 1, n - 2)

        largest = [
            search(x, min_on_each_side=5, n_permutations=19).largest_f
            for x in rng.normal(0, 0.08, size=(800, n))
        ]

        assert low < np.mean(np.array(largest) > limit) < high

    def test_finds_one_in_five_of_a_hundred_series_that_have_none(self):
        rng = np.random.default_rng(4)
        shown = [
            search(x, rng=rng, n_permutations=99).shift is not None
            for x in rng.standard_t(4, size=(1200, 15))
        ]

        # Exact, whatever the distribution; the standard error is 0.006.
        assert np.mean(shown) == pytest.approx(0.05, abs=0.017)

    def test_is_that_of_all_orders(self):
        # Four high points of ten: any four places are as likely, and as good are only the last
        # four and the first four.
        points = np.array([0.0] * 6 + [0.1] * 4)

        found = search(points, n_permutations=4999)

        assert found.p == pytest.approx(2 / math.comb(10, 4), abs=0.004)

    def test_is_the_same_for_the_same_dice(self):
        points = np.random.default_rng(5).normal(size=20)

        assert search(points).p == search(points).p

    def test_of_a_long_series_is_counted_in_parts(self, monkeypatch: pytest.MonkeyPatch):
        points = np.random.default_rng(6).normal(size=20)
        whole = search(points)

        monkeypatch.setattr(breaks, "_CHUNK_VALUES", 50)

        assert search(points) == whole


class TestShift:
    points = np.random.default_rng(7).normal(0, 0.03, 24) + np.repeat([0.0, 0.08], [14, 10])

    def test_interval_holds_the_change_and_the_dates_the_date(self):
        shift = search(self.points).shift

        assert shift is not None
        assert shift.interval_m.low < 0.08 < shift.interval_m.high
        assert shift.earliest <= 14 <= shift.latest
        assert shift.earliest <= shift.after <= shift.latest

    def test_with_a_certain_date_has_students_interval(self):
        points = np.concatenate([self.points[:14], self.points[14:] + 1])

        shift = search(points).shift

        assert shift is not None
        assert shift.earliest == shift.latest == 14
        usual = stats.ttest_ind(points[14:], points[:14]).confidence_interval(0.95)
        assert shift.interval_m.low == pytest.approx(usual.low, abs=1e-6)
        assert shift.interval_m.high == pytest.approx(usual.high, abs=1e-6)

    def test_weighs_the_dates_as_integration_over_all_that_is_unknown_does(self):
        # Both means and the SD by brute force: what a flat prior makes of each date.
        points = np.array([0.0, 0.02, -0.02, 0.01, 0.03, 0.05, 0.04, 0.09, 0.10, 0.08, 0.11, 0.10])
        mean = np.linspace(-1, 1, 4001)[:, None]
        sd = np.exp(np.linspace(np.log(0.004), np.log(2), 400))

        def weight(part: np.ndarray) -> np.ndarray:
            square = np.sum((part[:, None] - mean.T) ** 2, axis=0)[:, None]
            return np.exp(-square / (2 * sd**2)).sum(axis=0) * sd ** -float(part.size)

        splits = range(3, 10)
        chance = np.array([(weight(points[:k]) * weight(points[k:])).sum() for k in splits])
        chance /= chance.sum()
        change = [points[k:].mean() - points[:k].mean() for k in splits]
        shift = search(points).shift

        assert shift is not None
        assert shift.change_m == pytest.approx(chance @ change, rel=1e-6)
        assert shift.after == 3 + int(np.argmax(chance))
        order = np.argsort(-chance)
        likely = 3 + order[: int(np.searchsorted(np.cumsum(chance[order]), 0.95)) + 1]
        assert (shift.earliest, shift.latest) == (likely.min(), likely.max())
        assert shift.earliest < shift.latest

    def test_looks_further_for_its_date_with_a_higher_level(self):
        points = self.points + np.random.default_rng(8).normal(0, 0.03, 24)
        narrow, wide = (search(points, level=level).shift for level in (0.5, 0.99))

        assert narrow is not None
        assert wide is not None
        assert wide.earliest <= narrow.earliest <= narrow.latest <= wide.latest
        assert wide.interval_m.low < narrow.interval_m.low
        assert narrow.interval_m.high < wide.interval_m.high

    @given(st.floats(-5, 5), st.floats(0.1, 10))
    def test_follows_where_zero_is_and_what_a_metre_is(self, offset, unit):
        plain = search(self.points)
        moved = search(offset + unit * self.points)

        assert moved.p == plain.p
        assert plain.shift is not None
        assert moved.shift is not None
        assert moved.shift.after == plain.shift.after
        assert moved.shift.change_m == pytest.approx(unit * plain.shift.change_m, rel=1e-6)
        assert moved.shift.interval_m.high == pytest.approx(
            unit * plain.shift.interval_m.high, rel=1e-5
        )

    def test_read_backwards_is_the_other_way_round(self):
        there, back = search(self.points).shift, search(self.points[::-1]).shift

        assert there is not None
        assert back is not None
        assert back.after == 24 - there.after
        assert back.change_m == pytest.approx(-there.change_m)
        assert back.interval_m.low == pytest.approx(-there.interval_m.high, abs=1e-8)

    def test_positions_are_those_of_the_array_that_was_given(self):
        with_gaps = np.insert(self.points, [3, 3, 8], NAN)

        plain, found = search(self.points), search(with_gaps)

        assert found.n == 24
        assert plain.shift is not None
        assert found.shift is not None
        assert found.shift.after == plain.shift.after + 3


class TestEdges:
    @given(st.lists(st.one_of(values, st.just(NAN)), max_size=30))
    def test_is_finite_whatever_was_measured(self, points):
        found = breaks.find_break(points, rng=np.random.default_rng(1), n_permutations=19)

        if isinstance(found, NotEnoughAttempts):
            assert np.count_nonzero(~np.isnan(points)) < 10
            return
        assert 0 < found.p <= 1
        assert found.largest_f is None or 0 <= found.largest_f < math.inf
        if found.shift is not None:
            interval = found.shift.interval_m
            assert -math.inf < interval.low <= interval.high < math.inf
            assert interval.low - 1e-8 <= found.shift.change_m <= interval.high + 1e-8

    def test_equal_points_have_not_shifted(self):
        found = search([0.06] * 12)

        assert (found.p, found.shift) == (1.0, None)

    def test_a_clean_step_leaves_nothing(self):
        found = search([0.0] * 6 + [0.1] * 6)

        assert found.largest_f is None
        assert found.shift is not None
        assert (found.shift.earliest, found.shift.after, found.shift.latest) == (6, 6, 6)
        assert found.shift.change_m == pytest.approx(0.1)
        assert found.shift.interval_m.low == pytest.approx(0.1, abs=1e-6)

    def test_nine_points_are_too_few(self):
        found = breaks.find_break([0.1] * 9 + [NAN], rng=np.random.default_rng(1))

        assert found == NotEnoughAttempts(n=9, needed=10)

    def test_longer_parts_need_more_points(self):
        found = breaks.find_break(np.arange(12.0), rng=np.random.default_rng(1), min_on_each_side=8)

        assert found == NotEnoughAttempts(n=12, needed=16)

    @pytest.mark.parametrize(
        ("points", "options", "message"),
        [
            ([[0.1] * 12], {}, "one dimension"),
            ([0.1] * 12 + [math.inf], {}, "infinite"),
            ([0.1] * 12, {"sure": 1.0}, "sure"),
            ([0.1] * 12, {"level": 0.0}, "level"),
            ([0.1] * 12, {"min_on_each_side": 0}, "min_on_each_side"),
            ([0.1] * 12, {"n_permutations": 18}, "permutations are too few"),
            ([0.1] * 12, {"n_permutations": 0}, "permutations are too few"),
        ],
    )
    def test_refuses(self, points, options, message):
        with pytest.raises(ValueError, match=message):
            search(points, **options)
