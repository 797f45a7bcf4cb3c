"""A season's ends: by hand, against SciPy, and how often chance alone is called a change."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.core import comparing, season_ends
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.season_ends import BoardChange, Change, MeanChange

NAN = float("nan")


def board(toe, session, **options) -> BoardChange:
    array = np.asarray(toe, dtype=float)
    found = season_ends.change_at_board(
        array, np.isnan(array) | (array < 0), session=session, **options
    )
    assert isinstance(found, BoardChange)
    return found


def mean(values, session, **options) -> MeanChange:
    found = season_ends.change_of_mean(values, session=session, **options)
    assert isinstance(found, MeanChange)
    return found


class TestEnds:
    def test_are_the_fewest_whole_sessions_with_enough_attempts(self):
        first, last = season_ends.season_ends(np.repeat(np.arange(10), 6), most=20)

        # Three sessions hold 18, four hold 24.
        assert np.flatnonzero(first).tolist() == list(range(24))
        assert np.flatnonzero(last).tolist() == list(range(36, 60))

    def test_of_exactly_enough_need_no_further_session(self):
        first, _ = season_ends.season_ends(np.repeat(np.arange(10), 5), most=20)

        assert int(first.sum()) == 20

    def test_of_a_short_season_leave_the_middle_session_out(self):
        first, last = season_ends.season_ends([0, 0, 1, 1, 1, 2], most=20)

        assert first.tolist() == [True, True, False, False, False, False]
        assert last.tolist() == [False, False, False, False, False, True]

    @pytest.mark.parametrize("session", [[], [1] * 30])
    def test_are_none_of_one_session(self, session):
        assert [int(each.sum()) for each in season_ends.season_ends(session)] == [0, 0]

    @given(st.lists(st.integers(1, 9), max_size=12), st.integers(1, 30))
    def test_share_no_session(self, counts, most):
        session = np.repeat(np.arange(len(counts)), counts)

        first, last = season_ends.season_ends(session, most=most)

        assert not set(session[first]) & set(session[last])
        assert bool(first.any()) == bool(last.any()) == (len(counts) > 1)

    def test_refuse_what_makes_no_sense(self):
        with pytest.raises(ValueError, match="one label for each attempt"):
            season_ends.season_ends([[1, 2]])
        with pytest.raises(ValueError, match="most must be at least 1"):
            season_ends.season_ends([1, 2], most=0)


class TestBoard:
    session = np.repeat(np.arange(4), 6)

    def test_is_the_comparison_of_the_blocks_at_both_ends(self):
        toe = np.random.default_rng(1).normal(0.10, 0.08, 24)
        found = board(toe, self.session, most=12)
        first, last = (
            comparing.block_figures(toe[part], toe[part] < 0, session=self.session[part])
            for part in (slice(12), slice(12, 24))
        )
        assert isinstance(first, comparing.BlockFigures)
        assert isinstance(last, comparing.BlockFigures)

        compared = comparing.compare_blocks(first, last)

        assert found.bias_m.first == pytest.approx(first.bias_m)
        assert found.bias_m.change == pytest.approx(compared.bias_change_m)
        assert found.bias_m.change_interval == compared.bias_change_interval
        assert (found.sd_ratio, found.sd_ratio_interval) == (
            compared.sd_ratio,
            compared.sd_ratio_interval,
        )

    def test_has_the_intervals_of_scipy(self):
        toe = np.random.default_rng(2).normal(0.10, 0.02, 24)
        found = board(toe, self.session, most=12)

        # Two sessions of six at each end: ten degrees of freedom within them.
        sd = np.sqrt(np.mean([np.var(toe[i : i + 6], ddof=1) for i in (0, 6)]))
        assert found.sd_first_m == pytest.approx(sd)
        low, high = np.sqrt(10 / stats.chi2.ppf([0.975, 0.025], 10)) * sd
        assert found.sd_first_interval.low == pytest.approx(low)
        assert found.sd_first_interval.high == pytest.approx(high)
        assert found.sd_ratio_interval is not None
        assert found.sd_ratio_interval.low == pytest.approx(
            found.sd_ratio / np.sqrt(stats.f.ppf(0.975, 10, 10))
        )

    def test_shows_a_spread_that_fell_and_one_that_rose(self):
        rng = np.random.default_rng(3)
        wide, narrow = rng.normal(0.3, 0.12, 24), rng.normal(0.3, 0.02, 24)
        session = np.repeat(np.arange(8), 6)

        fell = board(np.concatenate([wide, narrow]), session)
        rose = board(np.concatenate([narrow, wide]), session)

        assert (fell.spread_shown, rose.spread_shown) == (Change.LOWER, Change.HIGHER)

    def test_measures_errors_against_the_aim_of_each_attempt(self):
        """A new aim that is met is no change of the bias."""
        rng = np.random.default_rng(4)
        aim = np.repeat([0.06, 0.16], 12)
        found = board(aim + rng.normal(0, 0.01, 24), self.session, aim_m=aim, most=12)

        assert found.bias_m.shown is Change.NOT_SHOWN
        assert abs(found.bias_m.change) < 0.01

    def test_counts_no_jumps_that_nobody_measured(self):
        """Left out, an end with more of them would look as if it landed shorter."""
        toe = np.tile([0.02, 0.10, 0.06, 0.12, 0.08, 0.04], 4)
        hidden = toe.copy()
        hidden[12:][hidden[12:] == 0.02] = NAN

        whole, censored = board(toe, self.session, most=12), board(hidden, self.session, most=12)

        assert (censored.n_last, whole.n_last) == (12, 12)
        assert censored.bias_m.last < whole.bias_m.last

    def test_has_no_ratio_where_nothing_spreads(self):
        found = board([0.06] * 24, self.session, most=12)

        assert (found.sd_ratio, found.spread_shown) == (None, Change.NOT_SHOWN)

    @pytest.mark.parametrize(("n", "sessions"), [(0, 0), (12, 1), (6, 2), (8, 8)])
    def test_is_not_enough(self, n, sessions):
        session = np.repeat(np.arange(max(sessions, 1)), max(n // max(sessions, 1), 1))[:n]
        found = season_ends.change_at_board([0.1] * n, [False] * n, session=session)

        assert isinstance(found, NotEnoughAttempts)

    def test_refuses_sessions_that_do_not_fit(self):
        with pytest.raises(ValueError, match="one label for each attempt"):
            season_ends.change_at_board([0.1] * 4, [False] * 4, session=[1, 2])


class TestMean:
    session = np.repeat(np.arange(6), 4)

    def test_leaves_out_what_was_not_measured(self):
        values = np.arange(48, dtype=float)
        values[::2] = NAN

        found = mean(values, np.repeat(self.session, 2), most=8)

        assert (found.n_first, found.n_last) == (8, 8)
        assert found.first == np.mean([1, 3, 5, 7, 9, 11, 13, 15])
        assert found.change == pytest.approx(32.0)
        assert found.shown is Change.HIGHER

    @given(st.floats(-3, 3), st.floats(0.1, 10))
    def test_knows_no_unit(self, shift, scale):
        values = np.random.default_rng(5).normal(8, 0.2, 24)
        plain, other = mean(values, self.session), mean(shift + scale * values, self.session)

        assert other.last == pytest.approx(shift + scale * plain.last)
        assert other.change_interval.high == pytest.approx(scale * plain.change_interval.high)
        assert other.shown is plain.shown

    def test_negative_values_are_values(self):
        """Speed lost into the board is negative, and no no jump."""
        found = mean(-np.linspace(0.5, 0.1, 24), self.session)

        assert (found.n_first, found.shown) == (12, Change.HIGHER)

    @pytest.mark.parametrize("values", [[NAN] * 24, [*range(4), *[NAN] * 20]])
    def test_is_not_enough(self, values):
        found = season_ends.change_of_mean(values, session=self.session)

        assert isinstance(found, NotEnoughAttempts)

    def test_refuses_sessions_that_do_not_fit(self):
        with pytest.raises(ValueError, match="one for each attempt"):
            season_ends.change_of_mean([1.0, 2.0], session=[1])


class TestChance:
    """How often a season without any change is said to have one (simulated)."""

    def test_is_called_a_change_about_as_seldom_as_the_level_says(self):
        rng = np.random.default_rng(6)
        session = np.repeat(np.arange(20), 6)
        bias = spread = 0
        for _ in range(150):
            days = rng.normal(0, 0.05, 20)[session]
            found = board(0.30 + days + rng.normal(0, 0.08, 120), session)
            bias += found.bias_m.shown is not Change.NOT_SHOWN
            spread += found.spread_shown is not Change.NOT_SHOWN

        # Of 150 at 5 %: 7.5, give or take 2.7 (SD).
        assert bias / 150 < 0.11
        assert 0 < spread / 150 < 0.11

    def test_a_halved_spread_is_shown_as_often_as_the_f_test_says(self):
        rng = np.random.default_rng(7)
        session = np.repeat(np.arange(10), 6)
        sd = np.repeat([0.10, 0.05], 30)[:, None]
        toe = 0.40 + sd * rng.normal(size=(60, 100))
        shown = sum(board(each, session).spread_shown is Change.LOWER for each in toe.T)

        # Four sessions of six at each end: 20 and 20 degrees of freedom.
        power = stats.f.cdf(stats.f.ppf(0.025, 20, 20) * 4, 20, 20)
        assert shown / 100 == pytest.approx(power, abs=0.10)
