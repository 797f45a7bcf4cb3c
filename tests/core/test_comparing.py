"""Two blocks: the printed example, general libraries, and how often the answers are right."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.core import comparing
from analytics.core.conventions import NotEnoughAttempts

NAN = float("nan")


def block(toe, **options) -> comparing.BlockFigures:
    array = np.asarray(toe, dtype=float)
    figures = comparing.block_figures(array, np.isnan(array) | (array < 0), **options)
    assert isinstance(figures, comparing.BlockFigures)
    return figures


def figures_of(*, sd_m: float, n: int) -> comparing.BlockFigures:
    return comparing.BlockFigures(
        n=n,
        n_measured=n,
        n_unmeasured_no_jumps=0,
        bias_m=0.0,
        bias_standard_error_m=sd_m / math.sqrt(n),
        bias_df=n - 1.0,
        sd_m=sd_m,
        df=n - 1.0,
    )


class TestSpread:
    def test_reproduces_the_f_test_of_the_handbook(self):
        # NIST/SEMATECH e-Handbook 1.3.5.9, ceramic strength (from memory): SDs 65.54909 and
        # 61.85425 of 240 strengths each, F = 1.123037, no difference shown at the 5 % level.
        result = comparing.compare_blocks(
            figures_of(sd_m=65.54909, n=240), figures_of(sd_m=61.85425, n=240)
        )

        assert result.sd_ratio is not None
        assert result.sd_ratio_interval is not None
        assert 1 / result.sd_ratio**2 == pytest.approx(1.123037, abs=1e-5)
        assert result.sd_ratio_interval.low < 1 < result.sd_ratio_interval.high

    def test_probability_is_that_of_scipys_f_distribution(self):
        result = comparing.compare_blocks(figures_of(sd_m=0.10, n=21), figures_of(sd_m=0.06, n=16))

        assert result.probability_spread_lower == pytest.approx(
            1 - stats.f.sf((0.10 / 0.06) ** 2, 20, 15), rel=1e-12
        )

    @given(st.floats(0.02, 0.3), st.floats(0.02, 0.3), st.integers(5, 40), st.integers(5, 40))
    def test_swapping_the_blocks_turns_the_answer_round(self, one, two, n_one, n_two):
        first, second = figures_of(sd_m=one, n=n_one), figures_of(sd_m=two, n=n_two)

        there = comparing.compare_blocks(first, second)
        back = comparing.compare_blocks(second, first)

        assert there.sd_ratio is not None
        assert there.probability_spread_lower is not None
        assert back.probability_spread_lower is not None
        assert there.sd_ratio_interval is not None
        assert back.sd_ratio_interval is not None
        assert there.probability_spread_lower + back.probability_spread_lower == pytest.approx(1)
        assert there.sd_ratio_interval.low == pytest.approx(1 / back.sd_ratio_interval.high)

    def test_no_spread_has_no_ratio(self):
        result = comparing.compare_blocks(block([0.1] * 5), block([0.1, 0.2, 0.1, 0.2, 0.1]))

        assert result.sd_ratio is None
        assert result.sd_ratio_interval is None
        assert result.probability_spread_lower is None
        assert result.bias_change_m == pytest.approx(0.04)

    def test_two_blocks_without_spread_differ_exactly(self):
        result = comparing.compare_blocks(block([0.1] * 5), block([0.2] * 5))

        assert result.bias_change_interval.low == result.bias_change_interval.high


class TestBias:
    @given(st.integers(0, 10_000))
    def test_interval_is_that_of_scipys_welch_test(self, seed: int):
        rng = np.random.default_rng(seed)
        one, two = rng.normal(0.5, 0.1, size=9), rng.normal(0.55, 0.05, size=14)

        result = comparing.compare_blocks(block(one), block(two))

        reference = stats.ttest_ind(two, one, equal_var=False).confidence_interval(0.95)
        assert result.bias_change_interval.low == pytest.approx(reference.low, abs=1e-12)
        assert result.bias_change_interval.high == pytest.approx(reference.high, abs=1e-12)

    def test_is_against_the_aim_of_each_plan(self):
        before = block([0.04, 0.06, 0.08, 0.05, 0.07], aim_m=0.06)
        after = block([0.08, 0.10, 0.12, 0.09, 0.11], aim_m=0.10)

        assert comparing.compare_blocks(before, after).bias_change_m == pytest.approx(0.0)


class TestBlocks:
    def test_spread_is_within_revisions(self):
        figures = block([0.0, 0.1, 0.2, 1.0, 1.1, 1.2], revision=[1, 1, 1, 2, 2, 2])

        assert figures.sd_m == pytest.approx(0.1)
        assert figures.df == 4

    def test_unmeasured_no_jumps_do_not_make_a_block_look_steady(self):
        rng = np.random.default_rng(3)
        toe = rng.normal(0.06, 0.08, size=2000)
        hidden = np.where(toe < 0, NAN, toe)

        figures = block(hidden)

        assert np.nanstd(hidden) < 0.065
        assert figures.sd_m == pytest.approx(0.08, abs=0.005)
        assert figures.bias_m == pytest.approx(0.0, abs=0.005)

    def test_equal_toes_beyond_the_line_beside_no_jumps_have_no_spread(self):
        figures = block([-0.1] * 5 + [NAN])

        assert (figures.sd_m, figures.bias_standard_error_m) == (0.0, 0.0)
        assert figures.bias_m == pytest.approx(-0.16)

    def test_say_when_there_are_too_few(self):
        result = comparing.block_figures([0.1] * 4, [False] * 4)

        assert result == NotEnoughAttempts(n=4, needed=5)


@pytest.mark.slow
class TestRecovery:
    def test_sure_at_95_percent_is_wrong_in_5_percent(self):
        rng = np.random.default_rng(4)
        sure = []
        for _ in range(3000):
            one, two = rng.normal(0.5, 0.08, size=(2, 12))
            result = comparing.compare_blocks(block(one), block(two))
            assert result.probability_spread_lower is not None
            sure.append(result.probability_spread_lower)

        assert np.mean(np.array(sure) >= 0.95) == pytest.approx(0.05, abs=0.015)

    def test_unmeasured_no_jumps_keep_that_about_right(self):
        # Approximate: the censored fit with equivalent degrees of freedom.
        rng = np.random.default_rng(5)
        sure = []
        for _ in range(1500):
            one, two = rng.normal(0.06, 0.08, size=(2, 20))
            result = comparing.compare_blocks(
                block(np.where(one < 0, NAN, one)), block(np.where(two < 0, NAN, two))
            )
            assert result.probability_spread_lower is not None
            sure.append(result.probability_spread_lower)

        assert np.mean(np.array(sure) >= 0.95) == pytest.approx(0.05, abs=0.025)


class TestSessions:
    def test_take_their_own_means_out_of_the_spread(self):
        figures = block([0.0, 0.1, 0.2, 1.0, 1.1, 1.2], session=[1, 1, 1, 2, 2, 2])

        assert figures.sd_m == pytest.approx(0.1)
        assert figures.df == 4

    def test_of_two_revisions_are_not_one(self):
        figures = block(
            [0.0, 0.2, 0.1, 1.0, 1.2, 1.1], session=[1] * 6, revision=[1, 1, 1, 2, 2, 2]
        )

        assert figures.df == 4
        assert figures.sd_m == pytest.approx(0.1)

    def test_make_the_bias_less_certain_by_hand(self):
        # Three sessions of three, means 1, 1.1 and 1.2, SD within 0.01: w^2 = 0.0001 on 6 df.
        toe = np.add.outer([1.0, 1.1, 1.2], [-0.01, 0.0, 0.01]).ravel()

        figures = block(toe, session=np.repeat([1, 2, 3], 3))

        # Between by moments 0.1^2 - w^2 / 3 on 2 df, drawn to 0.49 w^2 with 3 of 5.
        between = (2 * (0.01 - 0.0001 / 3) + 3 * 0.49 * 0.0001) / 5
        variance = 0.0001 / 9 + between / 3
        assert figures.bias_standard_error_m**2 == pytest.approx(variance)
        assert figures.bias_df == pytest.approx(
            variance**2 / ((0.0001 / 9) ** 2 / 6 + (between / 3) ** 2 / 5)
        )

    def test_one_session_has_the_prior_to_go_by(self):
        toe = np.random.default_rng(7).normal(0.5, 0.08, size=12)

        plain, told = block(toe), block(toe, session=[1] * 12)

        assert (told.sd_m, told.df, told.bias_m) == (plain.sd_m, plain.df, plain.bias_m)
        assert told.bias_standard_error_m**2 == pytest.approx(
            plain.bias_standard_error_m**2 + (0.7 * plain.sd_m) ** 2
        )
        assert told.bias_df < plain.bias_df

    def test_without_any_spread_leave_none(self):
        figures = block([0.1] * 9, session=np.repeat([1, 2, 3], 3))

        assert (figures.sd_m, figures.bias_standard_error_m) == (0.0, 0.0)

    def test_need_more_toes_than_sessions(self):
        result = comparing.block_figures([0.1] * 6, [False] * 6, session=[1, 1, 2, 2, 3, 3])
        too_few = comparing.block_figures([0.1] * 6, [False] * 6, session=[1, 2, 3, 4, 5, 6])

        assert result == NotEnoughAttempts(n=6, needed=7)
        assert too_few == NotEnoughAttempts(n=6, needed=10)

    def test_with_unmeasured_no_jumps_keep_the_spread_within(self):
        rng = np.random.default_rng(8)
        session = np.repeat(np.arange(40), 30)
        toe = 0.06 + rng.normal(0, 0.05, 40)[session] + rng.normal(0, 0.08, size=1200)

        whole = block(toe, session=session)
        hidden = block(np.where(toe < 0, NAN, toe), session=session)

        assert hidden.sd_m == pytest.approx(whole.sd_m, abs=0.005)
        assert hidden.bias_m == pytest.approx(whole.bias_m, abs=0.006)
        assert hidden.bias_standard_error_m == pytest.approx(whole.bias_standard_error_m, rel=0.15)

    def test_of_a_moved_mark_do_not_differ_by_the_move(self):
        # Session means 1.0, 1.1, 1.2 under one plan and 2.0, 2.1, 2.2 under the next.
        means = np.array([1.0, 1.1, 1.2, 2.0, 2.1, 2.2])
        toe = np.add.outer(means, [-0.01, 0.0, 0.01]).ravel()

        figures = block(toe, session=np.repeat(np.arange(6), 3), revision=np.repeat([1, 2], 9))

        between = (4 * (0.01 - 0.0001 / 3) + 3 * 0.49 * 0.0001) / 7
        assert figures.bias_standard_error_m**2 == pytest.approx(0.0001 / 18 + between / 6)

    def test_that_do_not_differ_are_not_made_to_by_unmeasured_no_jumps(self):
        rng = np.random.default_rng(9)
        session = np.repeat(np.arange(40), 5)
        toe = rng.normal(0.12, 0.08, size=200)

        whole = block(toe, session=session)
        hidden = block(np.where(toe < 0, NAN, toe), session=session)

        assert hidden.bias_standard_error_m == pytest.approx(whole.bias_standard_error_m, rel=0.15)

    def test_lend_their_degrees_of_freedom_to_the_change_of_bias(self):
        before = dataclasses.replace(figures_of(sd_m=0.08, n=16), bias_df=3.0)
        after = dataclasses.replace(figures_of(sd_m=0.08, n=16), bias_df=5.0)

        interval = comparing.compare_blocks(before, after).bias_change_interval

        # Equal standard errors of 0.02 m: df = 4 / (1/3 + 1/5) = 7.5.
        assert interval.high == pytest.approx(stats.t.ppf(0.975, 7.5) * 0.02 * math.sqrt(2))
