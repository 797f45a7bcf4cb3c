"""Level and spread charts: handbook values, run lengths, and what a baseline must hold."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core import baselines, components, following, smoothing
from analytics.core.conventions import NotEnoughAttempts
from tests.core import run_lengths
from tests.core.reference_tables import read_table

NAN = float("nan")


def make_baseline(**changes) -> baselines.Baseline:
    """Return a baseline of 20 attempts in 4 sessions."""
    usual = baselines.Baseline(
        n=20,
        n_measured=20,
        n_sessions=4,
        n_sessions_spanned=4,
        aim_m=0.06,
        sigma_within_m=0.08,
        within_df=16.0,
        sigma_between_m=0.04,
        between_df=6.0,
        level_width=3.3,
        level_limit=1.1,
        spread_limit=3.2,
    )
    return dataclasses.replace(usual, **changes)


def point(error_m: float, *, n: int = 4, mean_square_m2: float = 0.0064) -> following.SessionPoint:
    return following.SessionPoint(
        n=n,
        n_unmeasured_no_jumps=0,
        error_m=error_m,
        mean_square_m2=mean_square_m2 if n > 1 else 0.0,
        df=n - 1,
    )


class TestMovingAverage:
    def test_reproduces_the_handbook_example(self):
        # NIST/SEMATECH e-Handbook 6.3.2.4: weight 0.3, target 50, s 2.0539, 3 sigma.
        rows = read_table("nist_ewma_6_3_2_4")
        values = [float(row["x"]) for row in rows]

        averages = smoothing.ewma(values, weight=0.3, start=50.0)
        low, high = smoothing.ewma_limits(20, target=50.0, sd=2.0539, weight=0.3, width=3.0)

        assert averages == pytest.approx([float(row["ewma_exact"]) for row in rows], abs=1e-6)
        assert averages == pytest.approx([float(row["ewma_printed"]) for row in rows], abs=6e-3)
        assert high == pytest.approx([float(row["ucl_time_varying"]) for row in rows], abs=6e-5)
        assert low == pytest.approx([float(row["lcl_time_varying"]) for row in rows], abs=6e-5)
        # The printed limits are those for large i: 52.5884 and 47.4115 (47.41155 rounded down).
        far_low, far_high = smoothing.ewma_limits(
            200, target=50.0, sd=2.0539, weight=0.3, width=3.0
        )
        assert far_high[-1] == pytest.approx(52.5884, abs=6e-5)
        assert far_low[-1] == pytest.approx(47.4115, abs=1.1e-4)

    def test_goes_on_from_the_last_average(self):
        whole = smoothing.ewma([1.0, 2.0, 3.0], weight=0.2, start=0.0)

        rest = smoothing.ewma([3.0], weight=0.2, start=whole[1])

        assert rest[0] == whole[2]

    def test_a_missing_value_leaves_it_as_it_was(self):
        assert smoothing.ewma([1.0, NAN], weight=0.5, start=0.0).tolist() == [0.5, 0.5]

    @pytest.mark.parametrize("weight", [0.0, 1.1])
    def test_refuses_a_weight_outside_its_range(self, weight: float):
        with pytest.raises(ValueError, match="weight"):
            smoothing.ewma([1.0], weight=weight, start=0.0)
        with pytest.raises(ValueError, match="weight"):
            smoothing.ewma_limits(1, target=0.0, sd=1.0, weight=weight, width=3.0)


class TestCumulativeSum:
    def test_reproduces_the_printed_table(self):
        # Montgomery & Runger, Table 16-8: target 99, K 1, so in units of 2: k 0.5.
        high = low = 0.0
        for row in read_table("montgomery_runger_cusum_16_8"):
            z = (float(row["x"]) - 99) / 2

            high = smoothing.cusum_step(high, z)
            low = smoothing.cusum_step(low, -z)

            assert 2 * high == pytest.approx(float(row["s_hi"]), abs=1e-9)
            assert 2 * low == pytest.approx(float(row["s_lo"]), abs=1e-9)


class TestRunLengths:
    @pytest.mark.parametrize("row", read_table("ewma_arl"), ids=lambda row: row["delta_sigma"])
    def test_of_the_moving_average_are_those_published(self, row: dict[str, str]):
        # Lucas & Saccucci 1990 (design from memory; L 2.962 with weight 0.2 gives 500).
        shift = float(row["delta_sigma"])

        length = run_lengths.ewma_run_length(
            weight=baselines.LEVEL_WEIGHT, width=2.962, shift=shift
        )

        assert length == pytest.approx(float(row["lam0.2_L2.962"]), abs=6e-5)

    @pytest.mark.parametrize("row", read_table("cusum_arl"), ids=lambda row: row["delta_sigma"])
    def test_of_two_cumulative_sums_are_those_published(self, row: dict[str, str]):
        # 1 / both = 1 / up + 1 / down, exact for the two-sided sum (Van Dobben de Bruyn 1968,
        # from memory).
        shift = float(row["delta_sigma"])
        up, down = (
            run_lengths.cusum_run_length(
                allowance=smoothing.CUSUM_ALLOWANCE, limit=4.0, shift=sign * shift
            )
            for sign in (1, -1)
        )

        # Printed to four decimals.
        assert 1 / (1 / up + 1 / down) == pytest.approx(float(row["h4"]), abs=5.1e-5)

    def test_known_level_width_gives_one_false_alarm_in_200_sessions(self):
        length = run_lengths.ewma_run_length(
            weight=baselines.LEVEL_WEIGHT, width=baselines.KNOWN_LEVEL_WIDTH
        )

        assert length == pytest.approx(1 / following.LEVEL_FALSE_ALARMS_PER_SESSION, rel=0.005)

    def test_known_spread_limit_gives_one_false_alarm_in_about_200_attempts(self):
        length = run_lengths.spread_run_length(
            kept=1 - following.SPREAD_WEIGHT, df=1, limit=baselines.KNOWN_SPREAD_LIMIT
        )

        assert length == pytest.approx(196, abs=4)

    @pytest.mark.parametrize("n", [3, 4, 6, 8, 10])
    def test_spread_chart_keeps_its_rate_for_each_size_of_session(self, n: int):
        sessions = run_lengths.spread_run_length(
            kept=(1 - following.SPREAD_WEIGHT) ** (n - 1),
            df=n - 1,
            limit=baselines.KNOWN_SPREAD_LIMIT,
        )

        assert sessions >= 1 / following.SPREAD_FALSE_ALARMS_PER_SESSION
        assert sessions * (n - 1) >= 190

    @pytest.mark.parametrize(
        ("n", "level", "spread"), [(20, 3.37, 3.00), (30, 3.19, None), (50, 3.04, None)]
    )
    def test_limits_widen_for_an_estimated_baseline(self, n, level, spread):
        # Values of the formula for n - 1 degrees of freedom, computed apart.
        assert baselines.level_width(n - 1) == pytest.approx(level, abs=0.006)
        if spread is not None:
            assert baselines.spread_limit(n - 1) == pytest.approx(spread, abs=0.005)


class TestBaseline:
    def test_is_whole_sessions_up_to_the_twentieth_attempt(self):
        rng = np.random.default_rng(1)
        toe = rng.normal(0.06, 0.08, size=30)
        session = np.repeat([5, 6, 7, 8, 9], 6)

        found = baselines.find_baseline(toe, toe < 0, session)

        assert isinstance(found, baselines.Baseline)
        assert (found.n, found.n_sessions, found.n_sessions_spanned) == (24, 4, 4)

    def test_waits_for_the_third_session(self):
        toe = np.random.default_rng(1).normal(0.06, 0.08, size=24)

        found = baselines.find_baseline(toe, toe < 0, np.repeat([1, 2], 12))

        assert found == NotEnoughAttempts(n=19, needed=20)

    def test_later_attempts_change_nothing(self):
        rng = np.random.default_rng(2)
        toe = rng.normal(0.06, 0.08, size=60)
        session = np.repeat(np.arange(10), 6)

        early = baselines.find_baseline(toe[:24], toe[:24] < 0, session[:24])
        late = baselines.find_baseline(toe, toe < 0, session)

        assert early == late

    def test_of_measured_toes_has_the_pooled_spread_within_sessions(self):
        rng = np.random.default_rng(3)
        toe = rng.normal(0.06, 0.08, size=24)
        session = np.repeat([1, 2, 3, 4], 6)

        found = baselines.find_baseline(toe, toe < 0, session)

        assert isinstance(found, baselines.Baseline)
        pooled = math.sqrt(np.mean([toe[session == s].var(ddof=1) for s in (1, 2, 3, 4)]))
        assert found.sigma_within_m == pytest.approx(pooled)
        assert found.within_df == 20

    def test_draws_the_spread_between_sessions_toward_the_prior(self):
        # Session means with no spread at all: only the prior is left, 3 of 3 + 3 weights.
        toe = np.tile([0.0, 0.12], 12)

        found = baselines.find_baseline(toe, toe < 0, np.repeat([1, 2, 3, 4], 6))

        assert isinstance(found, baselines.Baseline)
        assert found.sigma_between_m == pytest.approx(0.7 * found.sigma_within_m * math.sqrt(3 / 6))
        assert found.between_df == 6

    def test_counts_unmeasured_no_jumps_as_spread(self):
        rng = np.random.default_rng(4)
        toe = rng.normal(0.06, 0.08, size=400)
        session = np.repeat([1, 2, 3, 4], 100)
        hidden = np.where(toe < 0, NAN, toe)

        whole = baselines.find_baseline(toe, toe < 0, session)
        partly = baselines.find_baseline(hidden, toe < 0, session)

        assert isinstance(whole, baselines.Baseline)
        assert isinstance(partly, baselines.Baseline)
        assert partly.sigma_within_m == pytest.approx(whole.sigma_within_m, rel=0.12)
        assert partly.within_df < whole.within_df

    def test_needs_ten_measured_toes(self):
        toe = np.array([0.05, 0.10, 0.02, NAN, NAN, NAN, NAN, NAN] * 3)

        found = baselines.find_baseline(toe, np.isnan(toe), np.repeat([1, 2, 3], 8))

        assert found == NotEnoughAttempts(n=19, needed=20)

    def test_never_believes_a_spread_that_no_tape_can_show(self):
        found = baselines.find_baseline(
            np.full(24, 0.06), np.zeros(24, bool), np.repeat([1, 2, 3, 4], 6)
        )

        assert isinstance(found, baselines.Baseline)
        assert found.sigma_within_m == 0.005

    def test_one_attempt_a_session_says_nothing_of_the_spread_within(self):
        toe = np.random.default_rng(5).normal(0.06, 0.08, size=40)

        found = baselines.find_baseline(toe, toe < 0, np.arange(40))

        assert found == NotEnoughAttempts(n=19, needed=20)

    @given(
        st.lists(
            st.tuples(
                st.one_of(st.just(NAN), st.floats(-0.3, 0.5).map(lambda x: round(x, 2))),
                st.integers(0, 5),
            ),
            min_size=20,
            max_size=60,
        )
    )
    def test_holds_finite_limits_whatever_was_measured(self, attempts):
        toe = np.array([t for t, _ in attempts])
        session = np.sort([s for _, s in attempts])

        found = baselines.find_baseline(toe, np.isnan(toe), session)

        if isinstance(found, baselines.Baseline):
            figures = dataclasses.astuple(found)
            assert all(math.isfinite(figure) for figure in figures)
            assert found.sigma_within_m >= 0.005

    def test_of_no_attempts_is_not_enough(self):
        assert baselines.find_baseline([], np.empty(0, bool), []) == NotEnoughAttempts(0, 20)


class TestSessionPoint:
    def test_by_hand(self):
        summed = following.summarise_session(
            [0.10, 0.16, NAN], [False, False, False], baseline=make_baseline()
        )

        assert isinstance(summed, following.SessionPoint)
        assert (summed.n, summed.df) == (2, 1)
        assert summed.error_m == pytest.approx(0.07)
        assert summed.mean_square_m2 == pytest.approx(0.0018)

    def test_without_a_toe_or_a_no_jump_says_nothing(self):
        summed = following.summarise_session([NAN], [False], baseline=make_baseline())

        assert summed == NotEnoughAttempts(n=0, needed=1)

    def test_keeps_its_expected_values_when_no_jumps_are_not_measured(self):
        # In control; left out, the mean error would be 0.034 and the mean square half of 0.0064.
        rng = np.random.default_rng(5)
        baseline = make_baseline(sigma_between_m=0.0)
        points = []
        for _ in range(4000):
            toe = rng.normal(0.06, 0.08, size=6)
            made = following.summarise_session(
                np.where(toe < 0, NAN, toe), toe < 0, baseline=baseline
            )
            assert isinstance(made, following.SessionPoint)
            points.append((made.error_m, made.mean_square_m2))

        error, square = np.mean(points, axis=0)
        assert error == pytest.approx(0.0, abs=0.002)
        assert square == pytest.approx(0.0064, rel=0.05)


class TestFollowing:
    def test_one_step_by_hand(self):
        # z = 0.10 / sqrt(0.04^2 + 0.08^2 / 4) = 0.10 / 0.0565685 = 1.767767.
        state = following.follow_session(
            following.START, point(0.10, mean_square_m2=0.0128), baseline=make_baseline()
        )

        assert state.level == pytest.approx(0.2 * 1.767767, abs=1e-6)
        assert state.level_m == pytest.approx(0.02)
        assert state.short_sum == pytest.approx(1.267767, abs=1e-6)
        # 0.9^3 + (1 - 0.9^3) 2 = 1.271.
        assert state.spread == pytest.approx(1.271)
        assert (state.short_since, state.long_since, state.spread_since) == (1, 0, 1)

    def test_a_session_of_one_attempt_says_nothing_about_spread(self):
        before = following.ChartState(spread=1.7, n_points=3, spread_since=2)

        after = following.follow_session(before, point(0.0, n=1), baseline=make_baseline())

        assert (after.spread, after.spread_since) == (1.7, 2)

    def test_dates_the_start_of_the_present_run(self):
        errors = [0.0, 0.3, -0.3, 0.0, 0.2, 0.2]

        states = following.follow_sessions([point(e) for e in errors], baseline=make_baseline())

        assert states[-1].short_since == 5
        assert states[-1].long_since == 0

    @given(
        st.lists(
            st.tuples(st.floats(-0.5, 0.5), st.floats(0, 0.1), st.integers(1, 9)), max_size=20
        ),
        st.integers(0, 20),
    )
    def test_going_on_from_a_stored_state_equals_one_go(self, sessions, cut):
        points = [point(e, n=n, mean_square_m2=v) for e, v, n in sessions]
        baseline = make_baseline()

        whole = following.follow_sessions(points, baseline=baseline)
        first = following.follow_sessions(points[:cut], baseline=baseline)
        stored = dataclasses.asdict(first[-1]) if first else {}
        rest = following.follow_sessions(
            points[cut:], baseline=baseline, state=following.ChartState(**stored)
        )

        assert first + rest == whole

    def test_the_level_is_the_moving_average_of_standardised_errors(self):
        rng = np.random.default_rng(6)
        errors = rng.normal(0, 0.05, size=12)
        baseline = make_baseline()

        states = following.follow_sessions([point(e) for e in errors], baseline=baseline)

        z = errors / math.hypot(0.04, 0.04)
        expected = smoothing.ewma(z, weight=0.2, start=0.0)
        assert [state.level for state in states] == pytest.approx(expected.tolist())


@pytest.mark.slow
class TestPromise:
    """Nine athletes in ten have at most the stated false alarms."""

    @pytest.mark.parametrize(
        ("between_share", "at_least"), [(0.0, 0.95), (0.35, 0.95), (0.7, 0.87)]
    )
    def test_of_the_level_chart(self, between_share: float, at_least: float):
        # The chart keeps 200 sessions when its true width is at least that for a known SD.
        rng = np.random.default_rng(7)
        session = np.repeat(np.arange(4), 5)
        kept = []
        for _ in range(2000):
            day = rng.normal(0, 0.08 * between_share, size=4)[session]
            toe = 0.5 + day + rng.normal(0, 0.08, size=20)
            found = baselines.find_baseline(toe, np.zeros(20, bool), session, aim_m=0.5)
            assert isinstance(found, baselines.Baseline)
            believed = math.hypot(found.sigma_between_m, found.sigma_within_m / math.sqrt(5))
            true = math.hypot(0.08 * between_share, 0.08 / math.sqrt(5))
            kept.append(found.level_width * believed / true >= baselines.KNOWN_LEVEL_WIDTH)

        assert np.mean(kept) >= at_least

    def test_would_be_broken_by_limits_that_take_every_attempt_for_an_independent_one(self):
        # Why the limits do not simply use n - 1 and the plain variance between sessions.
        rng = np.random.default_rng(8)
        session = np.repeat(np.arange(4), 5)
        kept = []
        for _ in range(2000):
            day = rng.normal(0, 0.056, size=4)[session]
            parts = components.spread_components(day + rng.normal(0, 0.08, size=20), session)
            assert isinstance(parts, components.SpreadComponents)
            believed = math.hypot(parts.between_sd_m, parts.within_sd_m / math.sqrt(5))
            true = math.hypot(0.056, 0.08 / math.sqrt(5))
            width = baselines.level_width(19) * believed / true
            kept.append(width >= baselines.KNOWN_LEVEL_WIDTH)

        assert np.mean(kept) < 0.70

    def test_of_the_spread_chart(self):
        rng = np.random.default_rng(9)
        session = np.repeat(np.arange(4), 5)
        kept = []
        for _ in range(2000):
            toe = 0.5 + rng.normal(0, 0.08, size=20)
            found = baselines.find_baseline(toe, np.zeros(20, bool), session, aim_m=0.5)
            assert isinstance(found, baselines.Baseline)
            true_limit = found.spread_limit * (found.sigma_within_m / 0.08) ** 2
            kept.append(true_limit >= baselines.KNOWN_SPREAD_LIMIT)

        assert np.mean(kept) == pytest.approx(0.90, abs=0.02)

    def test_run_length_of_the_steps_themselves(self):
        # The steps of the code, run until the level passes its limit: 200 sessions.
        rng = np.random.default_rng(10)
        baseline = make_baseline(
            level_limit=baselines.KNOWN_LEVEL_WIDTH / 3, sigma_within_m=0.08, sigma_between_m=0.04
        )
        lengths = []
        for _ in range(600):
            state = following.START
            while abs(state.level) <= baseline.level_limit:
                state = following.follow_session(
                    state, point(rng.normal(0, math.hypot(0.04, 0.04))), baseline=baseline
                )
            lengths.append(state.n_points)

        # The run length is nearly exponential, so the mean of 600 has an error of about 4 %.
        assert np.mean(lengths) == pytest.approx(200, rel=0.12)
