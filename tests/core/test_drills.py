"""Phase drills: by hand, against statsmodels and SciPy, edges, by simulation, by properties."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.weightstats import ttost_ind

from analytics.core import drills
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.drills import DrillAnswer, DrillFigures, compare_drill, runs_to_show

NAN = float("nan")

# Yields of two catalysts (Montgomery & Runger, Applied Statistics and Probability for Engineers,
# example 10-5, from memory): means 92.255 and 92.733, SDs 2.39 and 2.98, pooled t -0.35.
CATALYST_1 = [91.50, 94.18, 92.18, 95.39, 91.79, 89.07, 94.72, 89.21]
CATALYST_2 = [89.19, 90.95, 90.46, 93.21, 97.19, 97.04, 91.07, 92.75]


def figures(drill, full, **options) -> DrillFigures:
    found = compare_drill(drill, full, **options)
    assert isinstance(found, DrillFigures)
    return found


class TestPublished:
    def test_two_catalysts(self):
        found = figures(CATALYST_1, CATALYST_2)

        assert found.difference_m == pytest.approx(92.255 - 92.733, abs=1e-3)
        assert found.drill_sd_m == pytest.approx(2.39, abs=0.01)
        assert found.full_sd_m == pytest.approx(2.98, abs=0.01)
        # With equal numbers the standard error is that of the pooled SD, 0.478 / 0.35; 13 to 14
        # degrees of freedom have t of 2.16 to 2.145 (tables); the printed t is rounded by 1.4 %.
        half = (found.interval.high - found.interval.low) / 2
        assert 2.12 < half / (0.478 / 0.35) < 2.19
        assert found.answer is DrillAnswer.UNDECIDED


class TestAgainstOthers:
    @pytest.mark.parametrize("seed", range(5))
    def test_in_one_session_the_two_one_sided_tests_of_statsmodels(self, seed):
        rng = np.random.default_rng(seed)
        drill, full = rng.normal(20.02, 0.15, size=9), rng.normal(20.0, 0.08, size=13)

        found = figures(drill, full)

        p_value, _, _ = ttost_ind(drill, full, -0.10, 0.10, usevar="unequal")
        assert found.p_value == pytest.approx(p_value)
        assert (found.answer is DrillAnswer.SAME) == (p_value < 0.05)
        theirs = stats.ttest_ind(drill, full, equal_var=False).confidence_interval(0.95)
        assert (found.interval.low, found.interval.high) == pytest.approx((theirs.low, theirs.high))

    def test_over_sessions_the_difference_of_least_squares_with_a_level_for_each(self):
        rng = np.random.default_rng(7)
        drill_at = np.repeat([0, 1, 2], [4, 2, 6])
        full_at = np.repeat([0, 1, 2], [3, 5, 2])
        drill = 20 + 0.3 * drill_at + rng.normal(0.05, 0.1, size=12)
        full = 20 + 0.3 * full_at + rng.normal(0, 0.1, size=10)
        levels = np.eye(3)[np.concatenate([drill_at, full_at])]
        is_drill = np.repeat([1.0, 0.0], [12, 10])

        found = figures(drill, full, drill_session=drill_at, full_session=full_at)

        theirs = sm.OLS(np.append(drill, full), np.column_stack([is_drill, levels])).fit()
        assert found.difference_m == pytest.approx(theirs.params[0])
        assert found.n_sessions == 3

    def test_the_tolerance_is_the_interval_for_the_next_full_run_of_statsmodels(self):
        full = np.random.default_rng(8).normal(20, 0.1, size=7)

        found = figures(np.full(4, 20.0), full)

        fit = sm.OLS(full, np.ones(7)).fit()
        frame = fit.get_prediction([1.0]).summary_frame(alpha=0.2)
        assert found.mark_m == pytest.approx(frame["mean"].iloc[0])
        assert found.mark_m + found.tolerance_m == pytest.approx(frame["obs_ci_upper"].iloc[0])


class TestByHand:
    def test_two_sessions(self):
        drill = [10.1, 10.3, 20.2, 20.4]
        full = [10.0, 10.2, 20.0, 20.2]

        found = figures(
            drill, full, drill_session=[1, 1, 2, 2], full_session=[1, 1, 2, 2], margin_m=0.5
        )

        # Both sessions weigh the same: differences 0.1 and 0.2. Each pair has squares of 0.02.
        assert found.difference_m == pytest.approx(0.15)
        assert (found.drill_sd_m, found.full_sd_m) == pytest.approx((0.02**0.5, 0.02**0.5))
        # Variance: twice 0.02 x (0.25 / 2 + 0.25 / 2) = 0.01, on 2 + 2 df.
        assert found.interval.high - 0.15 == pytest.approx(2.776445 * 0.1, rel=1e-6)
        assert found.equivalence_interval.high - 0.15 == pytest.approx(2.131847 * 0.1, rel=1e-6)
        assert found.p_value == pytest.approx(stats.t.sf(3.5, 4))
        assert found.answer is DrillAnswer.SAME
        # The ratio is 1; F(0.975; 2, 2) is 39 (table).
        assert found.sd_ratio == pytest.approx(1.0)
        assert found.sd_ratio_interval is not None
        assert found.sd_ratio_interval.low == pytest.approx(39**-0.5)
        assert found.sd_ratio_interval.high == pytest.approx(39**0.5)

    def test_a_drill_that_ends_short_is_positive(self):
        found = figures([20.5, 20.6, 20.4, 20.5], [20.0, 20.1, 19.9, 20.0])

        assert found.difference_m == pytest.approx(0.5)
        assert found.answer is DrillAnswer.DIFFERENT
        assert figures([19.5, 19.6, 19.4], [20.0, 20.1, 19.9]).answer is DrillAnswer.DIFFERENT

    def test_drills_within_the_tolerance_are_counted(self):
        found = figures([20.0, 20.05, 20.5, 19.0], [20.0, 20.1, 19.9, 20.0])

        # SD 0.0816, t(0.9, 3) = 1.637744, root of 5/4: 0.1495 m.
        assert found.tolerance_m == pytest.approx(1.637744 * (0.02 / 3) ** 0.5 * 1.25**0.5)
        assert found.mark_m == pytest.approx(20.0)
        assert found.within == 0.5
        assert found.within_interval.low < 0.5 < found.within_interval.high

    def test_the_ratio_turns_round_when_drills_and_full_runs_do(self):
        rng = np.random.default_rng(9)
        one, two = rng.normal(20, 0.2, size=6), rng.normal(20, 0.1, size=9)
        there, back = figures(one, two), figures(two, one)

        assert there.sd_ratio is not None
        assert back.sd_ratio_interval is not None
        assert there.sd_ratio_interval is not None
        assert back.sd_ratio == pytest.approx(1 / there.sd_ratio)
        assert back.sd_ratio_interval.low == pytest.approx(1 / there.sd_ratio_interval.high)


class TestEdges:
    def test_runs_that_do_not_spread_decide_by_the_difference_alone(self):
        near = figures([20.05] * 3, [20.0] * 3)
        far = figures([20.15] * 3, [20.0] * 3)

        assert (near.answer, near.p_value) == (DrillAnswer.SAME, 0.0)
        assert (far.answer, far.p_value) == (DrillAnswer.DIFFERENT, 1.0)
        assert (near.sd_ratio, near.sd_ratio_interval, near.tolerance_m) == (None, None, 0.0)
        assert figures([20.0] * 3, [20.0] * 3).within == 1.0

    def test_few_runs_cannot_show_that_there_is_no_difference(self):
        found = figures([20.0, 20.2, 19.8], [20.0, 20.2, 19.8])

        assert (found.difference_m, found.answer) == (0.0, DrillAnswer.UNDECIDED)

    @pytest.mark.parametrize(
        ("drill", "full", "sessions", "n", "needed"),
        [
            ([20.0, 20.1], [20.0, 20.1, 20.2], None, 2, 3),
            ([20.0, 20.1, NAN], [20.0, 20.1, 20.2], None, 2, 3),
            ([], [], None, 0, 3),
            ([20.0] * 4, [20.0] * 4, ([1, 1, 1, 1], [2, 2, 2, 2]), 0, 3),
            ([20.0] * 4, [20.0] * 4, ([1, 1, 2, 2], [2, 2, 2, 2]), 2, 3),
            ([20.0] * 3, [20.0] * 5, ([1, 1, 2], [1, 1, 2, 2, 2]), 3, 4),
        ],
    )
    def test_too_few_say_nothing(self, drill, full, sessions, n, needed):
        drill_session, full_session = sessions or (None, None)

        found = compare_drill(drill, full, drill_session=drill_session, full_session=full_session)

        assert found == NotEnoughAttempts(n=n, needed=needed)

    def test_sessions_without_the_other_kind_are_left_out(self):
        found = figures(
            [20.0, 20.1, 20.2, 50.0],
            [20.0, 20.1, 20.2, 90.0],
            drill_session=["a", "a", "a", "b"],
            full_session=["a", "a", "a", "c"],
        )

        assert (found.n_drills, found.n_full, found.n_sessions) == (3, 3, 1)
        assert found.mark_m == pytest.approx(20.1)

    @pytest.mark.parametrize(
        ("drill", "options", "words"),
        [
            ([[20.0]], {}, "one footfall"),
            ([20.0, float("inf"), 20.0], {}, "infinite"),
            ([20.0] * 3, {"margin_m": 0.0}, "margin_m"),
            ([20.0] * 3, {"margin_m": float("inf")}, "margin_m"),
            ([20.0] * 3, {"drill_session": [1, 1, 1]}, "or of neither"),
            ([20.0] * 3, {"drill_session": [1], "full_session": [1, 1, 1]}, "one session"),
        ],
    )
    def test_bad_input_is_refused(self, drill, options, words):
        with pytest.raises(ValueError, match=words):
            compare_drill(drill, [20.0, 20.1, 20.2], **options)


class TestPower:
    def test_so_many_runs_show_it_in_four_cases_of_five(self):
        # Of 400 the share has a standard error of 0.02.
        rng = np.random.default_rng(10)
        n = runs_to_show(0.10, 0.10)
        assert n == 18
        answers = [
            figures(rng.normal(20, 0.1, size=n), rng.normal(20, 0.1, size=n)).answer
            for _ in range(400)
        ]

        assert 0.74 < np.mean([each is DrillAnswer.SAME for each in answers]) < 0.88

    def test_a_drill_that_departs_by_the_margin_is_called_the_same_in_one_of_twenty(self):
        rng = np.random.default_rng(11)
        answers = [
            figures(rng.normal(20.1, 0.1, size=18), rng.normal(20, 0.1, size=18)).answer
            for _ in range(400)
        ]

        # Standard error 0.011.
        assert np.mean([each is DrillAnswer.SAME for each in answers]) < 0.05 + 3 * 0.011

    def test_runs_that_spread_too_much_never_show_it(self):
        assert runs_to_show(1.0, 1.0) is None
        assert runs_to_show(0.0, 0.0) == 3
        assert runs_to_show(0.1, 0.1, margin_m=0.2) == 6


class TestProperties:
    @given(
        st.lists(st.floats(19, 21), min_size=3, max_size=10),
        st.lists(st.floats(19, 21), min_size=3, max_size=10),
        st.floats(-5, 5),
    )
    def test_a_shift_of_the_runway_changes_nothing_but_the_mark(self, drill, full, shift):
        found = figures(drill, full)
        shifted = figures(np.array(drill) + shift, np.array(full) + shift)

        assert shifted.difference_m == pytest.approx(found.difference_m, abs=1e-9)
        assert shifted.mark_m == pytest.approx(found.mark_m + shift)
        assert shifted.p_value == pytest.approx(found.p_value, abs=1e-6)
        assert np.isfinite([found.interval.low, found.interval.high, found.tolerance_m]).all()
        assert 0 <= found.within <= 1
        inner, outer = found.equivalence_interval, found.interval
        assert outer.low <= inner.low <= found.difference_m <= inner.high <= outer.high
        assert (found.answer is DrillAnswer.SAME) == (
            max(abs(inner.low), abs(inner.high)) < drills.MARGIN_M
        )
