"""The outlook against printed prediction intervals, reference libraries and chance itself."""

import math
from itertools import pairwise

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from analytics.core import next_attempts, outlook
from analytics.core.next_attempts import NextAttempts, known
from tests.core.reference_tables import read_table

NAN = float("nan")
TOE = np.array([0.16, 0.02, 0.10, -0.04, 0.06, 0.18])


def with_moments(n: int, mean: float, sd: float) -> np.ndarray:
    """Return n values with exactly this mean and SD."""
    shape = stats.norm.ppf((np.arange(n) + 0.5) / n)
    return mean + sd * (shape - shape.mean()) / shape.std(ddof=1)


def expect(toe: np.ndarray, **options) -> NextAttempts:
    result = next_attempts.expect_toe(toe, np.isnan(toe) | (toe < 0), **options)
    assert isinstance(result, NextAttempts)
    return result


class TestPublished:
    def test_printed_prediction_interval_of_the_next_tyre(self):
        # Montgomery & Runger, Applied Statistics and Probability for Engineers, exercise 8-73 (read
        # in a page that solves it): life of 16 tyres, mean 60139.7 km, s 3645.94, so 95 % for the
        # next one: 52131.08 to 68148.31, with t rounded to 2.131; hence the tolerance.
        tyres = next_attempts.expect_distance(with_moments(16, 60139.7, 3645.94))

        assert isinstance(tyres, NextAttempts)
        interval = outlook.outlook(tyres, aim_m=0.0, present_aim_m=0.0).toe_interval
        assert interval.low == pytest.approx(52131.08, abs=2)
        assert interval.high == pytest.approx(68148.31, abs=2)

    @pytest.mark.parametrize(
        ("n", "factor"), [(5, 3.04), (6, 2.78), (7, 2.62), (8, 2.51), (9, 2.43), (10, 2.37)]
    )
    def test_printed_factors_of_the_prediction_interval(self, n: int, factor: float):
        # Half of the 95 % interval for one more value, in SDs: a table read in the source of a
        # statistics package that quotes it.
        ahead = outlook.outlook(expect(with_moments(n, 0.06, 1.0)))

        half = (ahead.toe_interval.high - ahead.toe_interval.low) / 2
        assert round(half, 2) == factor

    def test_risk_of_the_reference_case(self):
        # Computed: n 6, mean 0.08, SD 0.08 -> 0.198513; the normal curve would say 0.158655.
        ahead = outlook.outlook(expect(with_moments(6, 0.08, 0.08)))

        assert ahead.probability_no_jump == pytest.approx(0.198513, abs=1e-6)
        # "P(three no jumps) is not p^3": 0.020 against 0.008.
        assert ahead.probability_all_no_jumps[2] == pytest.approx(0.020, abs=5e-4)
        assert ahead.probability_no_jump**3 == pytest.approx(0.008, abs=5e-4)

    @pytest.mark.parametrize("row", read_table("board_hit_probability"))
    def test_with_all_known_it_is_the_normal_curve(self, row: dict[str, str]):
        mean = float(row["mu_m"])

        ahead = outlook.outlook(
            known(mean, float(row["sd_m"])), aim_m=mean, mark_corrected=True
        )  # fmt: skip

        assert ahead.probability_no_jump == pytest.approx(float(row["p_foul"]), abs=6e-7)
        assert ahead.probability_on_board == pytest.approx(float(row["p_on_board"]), abs=6e-7)
        assert ahead.probability_short == pytest.approx(float(row["p_short"]), abs=6e-7)
        valid = 1 - ahead.probability_all_no_jumps[2]
        assert valid == pytest.approx(float(row["p_at_least_one_valid_in_3"]), abs=6e-7)
        interval = ahead.probability_no_jump_interval
        assert interval.low == interval.high == ahead.probability_no_jump


class TestReferenceLibraries:
    def test_probabilities_are_those_of_scipys_student_t(self):
        ahead = outlook.outlook(expect(TOE))

        t = stats.t(5, TOE.mean(), TOE.std(ddof=1) * math.sqrt(7 / 6))
        assert ahead.probability_no_jump == pytest.approx(t.cdf(0), abs=1e-7)
        assert ahead.probability_on_board == pytest.approx(t.cdf(0.2) - t.cdf(0), abs=1e-7)
        assert ahead.probability_short == pytest.approx(t.sf(0.2), abs=1e-7)

    @pytest.mark.parametrize("level", [0.5, 0.95, 0.999])
    def test_toe_interval_is_the_prediction_interval_of_statsmodels(self, level: float):
        ahead = outlook.outlook(expect(TOE), level=level)

        fit = sm.OLS(TOE, np.ones(6)).fit()
        ((low, high),) = fit.get_prediction([[1.0]]).conf_int(obs=True, alpha=1 - level)
        assert ahead.toe_interval.low == pytest.approx(low, abs=1e-6)
        assert ahead.toe_interval.high == pytest.approx(high, abs=1e-6)
        assert ahead.toe_interval.level == level

    def test_interval_of_the_risk_is_that_of_the_noncentral_t(self):
        ahead = outlook.outlook(expect(TOE))

        # sqrt(n) mean / s is noncentral t with sqrt(n) mu / sigma, n - 1 df; risk Phi(-mu/sigma).
        seen = math.sqrt(6) * TOE.mean() / TOE.std(ddof=1)
        for share, end in (
            (0.975, ahead.probability_no_jump_interval.high),
            (0.025, ahead.probability_no_jump_interval.low),
        ):
            centre = optimize.brentq(lambda c: stats.nct.cdf(seen, 5, c) - share, -5, 12)  # noqa: B023 (used at once)
            assert end == pytest.approx(stats.norm.cdf(-centre / math.sqrt(6)), abs=1e-6)

    def test_several_no_jumps_are_as_frequent_as_in_draws(self):
        # The known normal model: sigma^2 = df s^2 / chi2, mean = mean + sigma z / sqrt(n).
        rng = np.random.default_rng(8)
        runs = 2_000_000
        sigma = TOE.std(ddof=1) * np.sqrt(5 / rng.chisquare(5, runs))
        mean = TOE.mean() + sigma * rng.normal(size=runs) / math.sqrt(6)
        risk = stats.norm.cdf(-mean / sigma)

        ahead = outlook.outlook(expect(TOE))

        # Standard error of the share at most 0.5 / sqrt(2e6) = 0.00035.
        for m, ours in enumerate(ahead.probability_all_no_jumps, start=1):
            assert ours == pytest.approx(float(np.mean(risk**m)), abs=0.001)


def two_truths(*weights: float, means_m: tuple[float, ...]) -> NextAttempts:
    """Return an expectation of few possible means, each about an SD of 0.01 m in all."""
    shape = (len(weights), 1)
    weight = np.array(weights).reshape(shape)
    mean_m = np.array(means_m).reshape(shape)
    return NextAttempts(
        n=6,
        n_measured=6,
        n_unmeasured_no_jumps=0,
        n_sessions=2,
        n_revisions=1,
        mean_m=float((weight * mean_m).sum()),
        own_sd_m=np.full(shape, 0.008),
        session_ratio=np.zeros(shape[0]),
        shared_mean_m=mean_m,
        shared_sd_m=np.full(shape, 0.006),
        weight=weight,
    )


class TestFarFromTheMean:
    """What is expected may lie on both sides of its mean, with nothing there."""

    def test_intervals_are_found_where_the_probability_is(self):
        # Nine of ten that he lands about the line, one of ten that he lands 5 m behind: mean 0.5 m.
        ahead = outlook.outlook(two_truths(0.9, 0.1, means_m=(0.0, 5.0)), level=0.5)

        # Quarters of the mixture: 0.9 Phi(x / 0.01) = 0.25, and 0.9 (1 - Phi) + 0.1 = 0.25.
        assert ahead.toe_interval.low == pytest.approx(0.01 * stats.norm.ppf(0.25 / 0.9), abs=1e-9)
        assert ahead.toe_interval.high == pytest.approx(0.01 * stats.norm.isf(0.15 / 0.9), abs=1e-9)
        # The risk of each mean is Phi(-mean / 0.008), so nearly 0 for those 5 m behind, who are a
        # tenth: 0.1 + 0.9 P(risk < r) = 0.25, and 0.9 P(risk > r) = 0.25. With the mean at 0 the
        # risk's deviate is normal with an SD of 6 / 8.
        risk = ahead.probability_no_jump_interval
        assert risk.low == pytest.approx(stats.norm.cdf(0.75 * stats.norm.ppf(0.15 / 0.9)))
        assert risk.high == pytest.approx(stats.norm.cdf(0.75 * stats.norm.isf(0.25 / 0.9)))

    def test_no_probability_is_above_one(self):
        # 6, 23 and 1 thirtieths sum to 1.0000000000000002 in float64.
        near = two_truths(6 / 30, 23 / 30, 1 / 30, means_m=(0.0, 0.0, 0.0))
        assert near.weight.sum() > 1

        ahead, behind = outlook.outlook(near, aim_m=-9.0), outlook.outlook(near, aim_m=9.0)

        assert (ahead.probability_no_jump, behind.probability_short) == (1.0, 1.0)


class TestAim:
    def test_another_aim_moves_all_by_the_difference(self):
        before = outlook.outlook(expect(TOE), aim_m=0.06, present_aim_m=0.06)
        after = outlook.outlook(expect(TOE), aim_m=0.10, present_aim_m=0.06)

        assert before.mean_m == pytest.approx(0.08)
        assert after.mean_m == pytest.approx(0.12)
        assert after.toe_interval.low == pytest.approx(before.toe_interval.low + 0.04)
        assert after.toe_interval.high == pytest.approx(before.toe_interval.high + 0.04)
        # The same as if all had landed so much farther back, the range of the risk and several
        # no jumps included.
        shifted = outlook.outlook(expect(TOE + 0.04))
        for name in ("probability_no_jump", "probability_on_board", "probability_short"):
            assert getattr(after, name) == pytest.approx(getattr(shifted, name), abs=1e-9)
        assert after.probability_all_no_jumps == pytest.approx(
            shifted.probability_all_no_jumps, abs=1e-9
        )
        risk, same = after.probability_no_jump_interval, shifted.probability_no_jump_interval
        assert (risk.low, risk.high) == pytest.approx((same.low, same.high), abs=1e-9)
        assert after.probability_no_jump < before.probability_no_jump

    def test_a_corrected_mark_puts_the_mean_on_the_aim_and_keeps_the_doubt(self):
        ahead = outlook.outlook(expect(TOE), aim_m=0.06, mark_corrected=True)

        t = stats.t(5, 0.06, TOE.std(ddof=1) * math.sqrt(7 / 6))
        assert ahead.mean_m == pytest.approx(0.06)
        assert ahead.probability_no_jump == pytest.approx(t.cdf(0), abs=1e-7)
        assert ahead.probability_on_board == pytest.approx(t.cdf(0.2) - t.cdf(0), abs=1e-7)
        assert ahead.probability_short == pytest.approx(t.sf(0.2), abs=1e-7)
        assert ahead.aim_m == 0.06

    @pytest.mark.parametrize(
        "options", [{"aim_m": NAN}, {"present_aim_m": math.inf}, {"level": 1.0}]
    )
    def test_refuses_what_is_no_aim_or_level(self, options):
        with pytest.raises(ValueError, match=r"aims|level"):
            outlook.outlook(known(0.06, 0.08), **options)


class TestCounts:
    def test_says_what_it_rests_on(self):
        toe = np.append(TOE, [NAN, NAN])

        ahead = outlook.outlook(expect(toe, session=[1, 1, 1, 1, 2, 2, 2, 2]))

        assert (ahead.n, ahead.n_measured, ahead.n_unmeasured_no_jumps) == (8, 6, 2)
        assert ahead.n_sessions == 2
        assert len(ahead.probability_all_no_jumps) == outlook.MOST_ATTEMPTS == 6

    def test_leaving_hidden_no_jumps_out_would_understate_the_risk(self):
        toe = np.array([0.14, 0.05, 0.11, 0.02, 0.17, 0.08, NAN, NAN])

        whole, alone = outlook.outlook(expect(toe)), outlook.outlook(expect(toe[:6]))

        assert whole.probability_no_jump > 3 * alone.probability_no_jump


@st.composite
def expectations(draw) -> NextAttempts:
    toe = draw(
        st.lists(st.floats(-0.2, 0.4).map(lambda x: round(x, 2)), min_size=5, max_size=12)
    )  # fmt: skip
    session = draw(st.sampled_from([None, [i // 3 for i in range(len(toe))]]))
    return expect(np.array(toe), session=session)


class TestProperties:
    @settings(max_examples=30, deadline=None)
    @given(expectations(), st.floats(-0.1, 0.3))
    def test_probabilities_are_some_and_sum_to_one(self, toe: NextAttempts, aim_m: float):
        ahead = outlook.outlook(toe, aim_m=aim_m)

        three = (ahead.probability_no_jump, ahead.probability_on_board, ahead.probability_short)
        assert all(0 <= each <= 1 for each in three)
        assert sum(three) == pytest.approx(1, abs=1e-12)
        assert ahead.toe_interval.low < ahead.mean_m < ahead.toe_interval.high
        risk = ahead.probability_no_jump_interval
        assert 0 <= risk.low <= risk.high <= 1
        several = ahead.probability_all_no_jumps
        assert all(later <= earlier + 1e-4 for earlier, later in pairwise(several))
        # Jensen: sharing what is unknown makes m in a row likelier than the m-th power.
        assert all(
            each >= several[0] ** m - 1e-4 for m, each in enumerate(several, start=1)
        )  # fmt: skip

    @settings(max_examples=20, deadline=None)
    @given(expectations(), st.floats(0.0, 0.2), st.floats(0.01, 0.2))
    def test_farther_back_is_safer(self, toe: NextAttempts, aim_m: float, farther: float):
        near = outlook.outlook(toe, aim_m=aim_m)
        far = outlook.outlook(toe, aim_m=aim_m + farther)

        assert far.probability_no_jump < near.probability_no_jump
        assert far.probability_short > near.probability_short

    @given(st.floats(0.01, 0.19), st.floats(0.01, 0.2), st.floats(1.05, 3))
    def test_more_spread_is_more_risk_while_the_mean_lies_on_the_board(
        self, mean: float, sd: float, times: float
    ):
        steady = outlook.outlook(known(mean, sd), present_aim_m=0.06)
        wild = outlook.outlook(known(mean, times * sd), present_aim_m=0.06)

        assert wild.probability_no_jump >= steady.probability_no_jump
        assert wild.probability_short >= steady.probability_short
        assert wild.probability_on_board < steady.probability_on_board + 1e-15


class TestByAim:
    def test_with_a_known_habit_it_is_the_normal_curve(self):
        """Reference: SciPy's normal distribution."""
        found = outlook.by_aim(next_attempts.known(0.31, 0.08), [0.0, 0.06, 0.20])

        np.testing.assert_allclose(
            found.probability_no_jump, stats.norm.cdf([0, -0.06, -0.20], scale=0.08), atol=1e-12
        )
        np.testing.assert_allclose(
            found.probability_short, stats.norm.sf([0.20, 0.14, 0.0], scale=0.08), atol=1e-12
        )

    def test_at_the_corrected_aim_it_is_the_outlook(self):
        toe = np.array([0.16, 0.02, 0.10, -0.04, 0.06, 0.18])
        expected = next_attempts.expect_toe(toe, toe < 0)
        assert isinstance(expected, next_attempts.NextAttempts)

        found = outlook.by_aim(expected)
        whole = outlook.outlook(expected, aim_m=0.06, mark_corrected=True)

        (at,) = np.flatnonzero(found.aim_m == 0.06)
        assert found.probability_no_jump[at] == pytest.approx(whole.probability_no_jump)
        assert found.probability_on_board[at] == pytest.approx(whole.probability_on_board)
        assert found.probability_short[at] == pytest.approx(whole.probability_short)

    def test_shares_sum_to_one_and_farther_aims_have_fewer_no_jumps(self):
        toe = np.array([0.16, 0.02, 0.10, -0.04, 0.06, 0.18])
        expected = next_attempts.expect_toe(toe, toe < 0)
        assert isinstance(expected, next_attempts.NextAttempts)

        found = outlook.by_aim(expected)

        total = found.probability_no_jump + found.probability_on_board + found.probability_short
        np.testing.assert_allclose(total, 1.0)
        assert (np.diff(found.probability_no_jump) < 0).all()
        assert found.aim_m.size == 21

    def test_no_aims_give_nothing(self):
        assert outlook.by_aim(next_attempts.known(0.06, 0.08), []).aim_m.size == 0

    @pytest.mark.parametrize("aims", [[np.nan], [np.inf], [[0.06]]])
    def test_refuses_what_is_no_list_of_aims(self, aims: list[float]):
        with pytest.raises(ValueError, match="finite"):
            outlook.by_aim(next_attempts.known(0.06, 0.08), aims)
