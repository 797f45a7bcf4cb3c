"""What earlier sessions say of the next day: by hand, against SciPy and statsmodels, edges."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.core.conventions import NotEnoughAttempts
from analytics.core.usual_days import RunThroughOffset, UsualDay, run_through_offset, usual_day

NAN = float("nan")


def offset(*arguments) -> RunThroughOffset:
    found = run_through_offset(*arguments)
    assert isinstance(found, RunThroughOffset)
    return found


def day(error, session, competition) -> UsualDay:
    found = usual_day(error, session, np.asarray(competition, dtype=bool))
    assert isinstance(found, UsualDay)
    return found


class TestOffset:
    def test_the_sleep_data_of_student(self):
        """Ten patients, two drugs: mean difference 1.58 hours, t = 4.0621 (Student 1908).

        The data as R ships them, both from memory.
        """
        first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
        second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]

        found = offset(second, range(10), first, range(10))

        assert found.n_sessions == 10
        assert found.mean_m == pytest.approx(1.58)
        assert found.mean_m / found.standard_error_m == pytest.approx(4.0621, abs=5e-5)
        # The 95 % interval that R prints (from memory).
        assert found.interval.low == pytest.approx(0.7001142, abs=5e-7)
        assert found.interval.high == pytest.approx(2.4598858, abs=5e-7)

    def test_the_same_as_scipy_on_session_means(self):
        rng = np.random.default_rng(1)
        run, jump = rng.normal(0.1, 0.1, size=(2, 24))
        session = np.repeat(np.arange(6), 4)

        found = offset(run, session, jump, session)

        theirs = stats.ttest_rel(run.reshape(6, 4).mean(axis=1), jump.reshape(6, 4).mean(axis=1))
        assert found.mean_m / found.standard_error_m == pytest.approx(theirs.statistic)
        assert found.interval.low == pytest.approx(theirs.confidence_interval().low)
        assert found.interval.high == pytest.approx(theirs.confidence_interval().high)

    def test_what_the_day_did_to_both_falls_out(self):
        days = np.array([0.3, -0.2, 0.5])
        found = offset(days + 0.04, [1, 2, 3], days, [1, 2, 3])

        assert found.mean_m == pytest.approx(0.04)
        assert found.standard_error_m == pytest.approx(0.0, abs=1e-15)

    def test_sessions_with_one_kind_only_say_nothing(self):
        found = run_through_offset(
            [0.1, 0.1, 0.1, NAN], [1, 2, 3, 4], [0.0, 0.0, 0.0, 0.0], [1, 2, 4, 5]
        )

        assert found == NotEnoughAttempts(n=2, needed=3)

    @pytest.mark.parametrize(
        ("run", "run_session", "jump", "words"),
        [
            ([0.1], [1, 2], [0.1], "run_through needs"),
            ([[0.1]], [1], [0.1], "run_through needs"),
            ([0.1], [1], [0.1, 0.2], "jump needs"),
            ([float("inf")], [1], [0.1], "infinite"),
        ],
    )
    def test_bad_input_is_refused(self, run, run_session, jump, words):
        with pytest.raises(ValueError, match=words):
            run_through_offset(run, run_session, jump, [1])


class TestUsualDay:
    def test_by_hand(self):
        # Training 0, 0.1 and 0.2 on three days, a competition at 0.3, two attempts each that
        # differ by 0.04 from one another.
        means = np.array([0.0, 0.1, 0.2, 0.3])
        error = np.repeat(means, 2) + np.tile([0.02, -0.02], 4)

        found = day(error, np.repeat([1, 2, 3, 4], 2), [False] * 6 + [True] * 2)

        # Within: squares 8 x 0.0004 on 4 df. Between, training only: 2 (0.01 + 0.01) on 2 df.
        within = 0.0032 / 4
        between = (0.02 - within) / 2
        variance = (2 * between + 3 * 0.49 * within) / 5
        assert found.day_sd_m == pytest.approx(np.sqrt(variance))
        each = variance + within / 2
        of_difference = each + each / 3
        kept = 0.05**2 / (0.05**2 + of_difference)
        assert found.shift_m == pytest.approx(kept * (0.3 - 0.1))
        assert found.shift_sd_m == pytest.approx(np.sqrt(kept * of_difference))
        assert found.sd_m == pytest.approx(np.sqrt(kept * of_difference + variance))
        assert (found.n_sessions, found.n_competitions) == (4, 1)

    def test_the_same_as_statsmodels_with_the_same_variances(self):
        """Weighted least squares with the prior as one more observation of the shift."""
        rng = np.random.default_rng(2)
        sizes = np.array([3, 5, 4, 6, 2, 4, 3])
        at = np.array([0, 0, 1, 0, 1, 0, 1], dtype=bool)
        session = np.repeat(np.arange(7), sizes)
        error = (rng.normal(0, 0.05, size=7) + 0.08 * at)[session] + rng.normal(0, 0.1, size=27)

        found = day(error, session, at[session])

        within = [error[session == each] for each in range(7)]
        means = np.array([values.mean() for values in within])
        squares = sum(float(((values - values.mean()) ** 2).sum()) for values in within)
        variance = found.day_sd_m**2 + squares / (27 - 7) / sizes
        model = sm.WLS(
            np.append(means, 0.0),
            np.column_stack([np.append(np.ones(7), 0.0), np.append(at, 1.0)]),
            weights=1 / np.append(variance, 0.05**2),
        ).fit(cov_type="fixed scale", use_t=False)
        assert found.shift_m == pytest.approx(model.params[1])
        assert found.shift_sd_m == pytest.approx(model.bse[1])

    @pytest.mark.parametrize("competition", [True, False])
    def test_one_kind_of_day_leaves_what_was_believed(self, competition):
        error = np.tile([0.1, 0.2, 0.3], 2)

        found = day(error, [1, 1, 2, 2, 3, 3], [competition] * 6)

        assert (found.shift_m, found.shift_sd_m) == (0.0, 0.05)
        assert found.n_competitions == (3 if competition else 0)

    def test_few_sessions_are_not_enough(self):
        found = usual_day([0.1, 0.2, 0.3, 0.1], [1, 1, 2, 2], [False] * 4)

        assert found == NotEnoughAttempts(n=2, needed=3)

    def test_attempts_that_do_not_spread_at_all(self):
        found = day(np.full(8, 0.1), np.repeat([1, 2, 3, 4], 2), [False] * 6 + [True] * 2)

        assert (found.shift_m, found.shift_sd_m, found.day_sd_m) == pytest.approx((0, 0, 0))

    @pytest.mark.parametrize("competition", [[True], [0, 1, 0]])
    def test_kinds_of_days_are_booleans(self, competition):
        with pytest.raises(ValueError, match="competition"):
            usual_day([0.1, 0.2, 0.3], [1, 2, 3], competition)

    @given(
        st.lists(st.tuples(st.integers(0, 4), st.floats(-0.5, 0.5)), min_size=8, max_size=16),
        st.floats(-0.5, 0.5),
    )
    def test_a_shift_of_all_attempts_is_no_shift_of_competitions(self, attempts, shift):
        session = np.array([label for label, _ in attempts])
        error = np.array([value for _, value in attempts])
        found = usual_day(error, session, session >= 3)
        shifted = usual_day(error + shift, session, session >= 3)
        if isinstance(found, NotEnoughAttempts):
            assert shifted == found
            return

        assert isinstance(shifted, UsualDay)
        assert shifted.shift_m == pytest.approx(found.shift_m, abs=1e-9)
        assert np.isfinite([found.shift_m, found.sd_m]).all()
        assert found.shift_sd_m <= 0.05
