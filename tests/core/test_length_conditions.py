"""The conditions of more steps: no jumps, speed kept, rhythm held, by hand and against SciPy."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analytics.core import length_conditions, next_attempts
from analytics.core.length_advice import FirstDo, LengthAnswer
from analytics.core.length_conditions import Condition, State
from analytics.core.length_settings import DEFAULT_SETTINGS
from tests.core.lengths import FIVE, advised, finding_of, history

NAN = float("nan")


class TestNoJumps:
    def test_are_those_of_student_t_where_sessions_are_one(self):
        toe = 0.05 + 0.1 * np.concatenate([FIVE] * 3)
        expected = next_attempts.expect_toe(toe, toe < 0)
        assert isinstance(expected, next_attempts.NextAttempts)

        found = length_conditions.find_no_jumps(expected)

        s = toe.std(ddof=1) * math.sqrt(1 + 1 / 15)
        assert found.value == pytest.approx(stats.t.cdf(-0.05 / s, 14), abs=1e-6)
        assert found.state is State.UNMET

    def test_too_many_by_bias_alone_ask_to_move_the_mark(self):
        found = advised(history([0.06] * 6, mean_m=-0.02))

        assert finding_of(found, Condition.NO_JUMPS).state is State.UNMET
        assert finding_of(found, Condition.SPREAD).state is State.MET
        assert found.answer is LengthAnswer.NOT_YET
        assert found.latest.first_do is FirstDo.MOVE_MARK
        assert found.latest.aim_needed_m < 0.10

    def test_too_many_by_bias_alone_ask_so_whatever_the_spread(self):
        found = advised(history([0.10] * 6, mean_m=-0.05))

        assert finding_of(found, Condition.SPREAD).state is State.OPEN
        assert found.latest.first_do is FirstDo.MOVE_MARK

    @pytest.mark.parametrize("more_m", [0.0, -0.01])
    def test_the_aim_needed_is_enough_and_no_centimetre_less(self, more_m: float):
        known = history([0.06] * 6, mean_m=-0.05)
        needed = advised(known).latest.aim_needed_m

        found = advised(known, aim_m=needed + more_m)

        wanted = FirstDo.MOVE_MARK if more_m == 0 else FirstDo.AIM_FARTHER
        assert found.latest.first_do is wanted

    def test_too_many_by_an_aim_too_near_ask_to_aim_farther(self):
        found = advised(history([0.11] * 8, mean_m=0.03), ready_sd_m=0.16, aim_m=0.03)

        assert finding_of(found, Condition.SPREAD).state is State.MET
        assert found.latest.first_do is FirstDo.AIM_FARTHER
        assert 0.03 < found.latest.aim_needed_m < 0.10

    def test_too_many_by_spread_ask_for_neither(self):
        found = advised(history([0.25] * 8, mean_m=0.06))

        assert finding_of(found, Condition.NO_JUMPS).state is State.UNMET
        assert found.latest.first_do is None

    def test_few_enough_ask_for_neither(self):
        assert advised(history([0.05] * 4)).latest.first_do is None

    @pytest.mark.parametrize(
        ("sd_m", "aim_m"), [(0.08, 0.05), (0.114, 0.06), (0.14, 0.08), (0.16, 0.09)]
    )
    def test_aim_needed_is_the_30th_hundredth_of_the_normal_curve(self, sd_m, aim_m):
        known = next_attempts.known(0.5, sd_m)

        found = length_conditions.aim_needed(known)

        assert found == pytest.approx(aim_m)
        assert stats.norm.cdf(-found / sd_m) <= 0.3 < stats.norm.cdf(-(found - 0.01) / sd_m)

    def test_aim_needed_is_never_beyond_the_line(self):
        most = replace(DEFAULT_SETTINGS, most_no_jumps=0.6)

        assert length_conditions.aim_needed(next_attempts.known(0.5, 0.1), most) == 0.0

    def test_those_that_nobody_measured_count(self):
        known = history([0.05] * 4)
        toe, no_jump = np.array(known.board_toe_m), np.array(known.no_jump)
        toe[::3], no_jump[::3] = NAN, True

        hidden = advised(replace(known, board_toe_m=toe, no_jump=no_jump))

        assert hidden.latest.n == 20
        risk = finding_of(hidden, Condition.NO_JUMPS).value
        assert risk is not None
        assert risk > 0.3


class TestSpeed:
    def test_is_student_t_of_session_means_where_sessions_have_as_many(self):
        rng = np.random.default_rng(1)
        session = np.repeat(np.arange(4), 5)
        gain = -0.25 + np.array([-0.2, 0.2, 0.1, -0.1])[session] + rng.normal(0, 0.05, 20)

        found = length_conditions.find_speed(gain, session)

        means = gain.reshape(4, 5).mean(axis=1)
        reference = stats.ttest_1samp(means, -0.3, alternative="greater").pvalue
        # Sessions differ, so nearly all of the error is theirs.
        assert found.probability == pytest.approx(1 - reference, abs=0.01)
        assert found.value == pytest.approx(gain.mean())
        assert (found.n, found.limit, found.state) == (20, -0.3, State.OPEN)

    @pytest.mark.parametrize(("gain", "state"), [(-0.3, State.MET), (-0.301, State.UNMET)])
    def test_without_any_spread_is_plainly_so_or_not(self, gain, state):
        found = length_conditions.find_speed(np.full(9, gain), np.repeat([0, 1, 2], 3))

        assert found.state is state

    @pytest.mark.parametrize(
        ("gain", "session"),
        [
            ([0.1, 0.0, 0.1, 0.1, NAN, NAN], [0, 0, 1, 2, 2, 2]),
            ([0.1] * 6, [0, 0, 0, 1, 1, 1]),
            ([NAN] * 6, [0, 0, 1, 1, 2, 2]),
        ],
    )
    def test_from_few_attempts_or_sessions_is_not_known(self, gain, session):
        found = length_conditions.find_speed(np.array(gain), np.array(session))

        assert (found.state, found.value, found.probability) == (State.UNKNOWN, None, None)


class TestPattern:
    @pytest.mark.parametrize("k", [0, 4, 9, 12, 15])
    def test_is_the_integral_of_the_jeffreys_density(self, k: int):
        held = np.array([1.0] * k + [0.0] * (15 - k))

        found = length_conditions.find_pattern(held)

        places = (np.arange(200_000) + 0.5) / 200_000
        density = places ** (k - 0.5) * (1 - places) ** (14.5 - k)
        share = density[places > 2 / 3].sum() / density.sum()
        assert found.probability == pytest.approx(share, abs=2e-3)
        assert (found.n, found.value) == (15, k / 15)

    @pytest.mark.parametrize(("k", "state"), [(13, State.MET), (10, State.OPEN), (7, State.UNMET)])
    def test_states(self, k: int, state: State):
        held = np.array([1.0] * k + [0.0] * (15 - k))

        assert length_conditions.find_pattern(held).state is state

    def test_of_four_is_not_known(self):
        found = length_conditions.find_pattern(np.array([1.0] * 4 + [NAN] * 9))

        assert (found.state, found.n, found.value) == (State.UNKNOWN, 4, None)
        assert length_conditions.find_pattern(np.ones(5)).state is State.MET

    @pytest.mark.parametrize(
        ("lengths", "held"),
        [
            ((2.15, 2.25, 2.00), 1.0),
            ((2.25, 2.25, 2.00), 0.0),
            ((2.00, 2.25, 2.00), 0.0),
            ((2.00, 2.25, 2.15), 0.0),
            ((2.00, 1.90, 2.15), 0.0),
            ((NAN, 2.25, 2.00), NAN),
        ],
    )
    def test_medium_long_short(self, lengths, held):
        third, penultimate, last = lengths
        toe = np.cumsum([0.06, last, penultimate, third])

        assert length_conditions.medium_long_short([toe]) == pytest.approx([held], nan_ok=True)

    def test_of_three_footfalls_is_refused(self):
        with pytest.raises(ValueError, match="four footfalls"):
            length_conditions.medium_long_short([[0.0, 2.0, 4.0]])
