"""Speed into the board, in figures and words."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.answers import speed
from analytics.core.board_gain import BoardGain, MeanSpeed
from analytics.core.conventions import NotEnoughAttempts
from analytics.selectors import RunUps
from tests.answers.run_ups import make_run_ups


def gated(first_s: list[float], second_s: list[float], *, session: list[int]) -> RunUps:
    """Return attempts that pass 11, 6 and 1 m in these times."""
    n = len(first_s)
    time = np.cumsum(np.column_stack([np.full(n, 4.0), first_s, second_s]), axis=1)
    made = make_run_ups([[0.06, 2.0, 4.2, 6.3]] * n, session=session)
    return replace(made, gate_at_m=np.tile([11.0, 6.0, 1.0], (n, 1)), gate_time_s=time)


# Ten metres a second, then 5 / 0.52: 0.38 m/s lost (docs/metrics/gate_speeds.md).
LOSES = gated([0.5] * 6, [0.52, 0.52, 0.51, 0.52, 0.52, 0.53], session=[0, 0, 1, 1, 2, 2])


class TestSpeed:
    def test_lost_into_the_board_is_named_with_both_speeds(self):
        found = speed.work_out(LOSES)

        assert isinstance(found.gain, BoardGain)
        assert isinstance(found.speed_11_6, MeanSpeed)
        assert isinstance(found.speed_6_1, MeanSpeed)
        second = np.mean(5 / np.array([0.52, 0.52, 0.51, 0.52, 0.52, 0.53]))
        assert found.speed_11_6.mean_mps == pytest.approx(10.0)
        assert found.speed_6_1.mean_mps == pytest.approx(second)
        assert found.gain.gain_mps == pytest.approx(second - 10)
        said = speed.tell(found)
        assert said.text == (
            "From 11 to 6 m before the line the speed is 10.00 m/s, from 6 to 1 m it is 9.62 m/s, "
            "on the mean of 6 attempts. Speed is lost into the board: 0.38 m/s."
        )
        assert said.caution is not None

    def test_says_what_the_clock_leaves_open(self):
        """sqrt(6) v^2 / 5 x 0.01 / sqrt(12) s at 9.8 m/s is 0.136 m/s; times 1.96 sqrt(2): 0.38."""
        found = speed.work_out(LOSES)

        assert found.smallest_change_one_mps == pytest.approx(0.38, abs=0.01)
        assert found.smallest_change_mps == pytest.approx(
            found.smallest_change_one_mps / np.sqrt(6)
        )
        (clock,) = [each for each in speed.tell(found).reasons if each.code == "timing"]
        assert "between two attempts a difference below 0.38 m/s may be timing alone" in clock.text

    def test_gained_is_called_gained(self):
        found = speed.work_out(gated([0.52] * 6, [0.5] * 6, session=[0, 0, 1, 1, 2, 2]))

        assert "Speed is still gained into the board: 0.38 m/s." in speed.tell(found).text

    def test_of_few_attempts_that_differ_is_left_open(self):
        found = speed.work_out(
            gated([0.5] * 5, [0.47, 0.53, 0.50, 0.48, 0.52], session=[0, 0, 0, 0, 0])
        )

        said = speed.tell(found)

        assert "is not shown: the difference may lie anywhere between" in said.text
        assert any("three sessions or more" in each for each in said.would_change)

    def test_of_attempts_without_gates_says_which_gates_it_takes(self):
        found = speed.work_out(make_run_ups([[0.06, 2.0, 4.2, 6.3]] * 9))

        assert found.gain == NotEnoughAttempts(n=0, needed=5)
        said = speed.tell(found)
        assert said.more_attempts_needed == 5
        assert "Timing gates at 11, 6 and 1 m" in said.would_change[0]

    def test_tells_timed_attempts_whose_gates_stand_elsewhere(self):
        far = replace(LOSES, gate_at_m=np.tile([31.0, 21.0, 11.0], (6, 1)))

        found = speed.work_out(far)

        assert (found.n_timed, found.gain) == (6, NotEnoughAttempts(n=0, needed=5))

    def test_says_how_many_times_were_read_between_gates(self):
        between = replace(LOSES, gate_at_m=np.tile([12.0, 7.0, 2.0], (6, 1)))
        both = replace(
            LOSES,
            gate_at_m=np.hstack([between.gate_at_m, np.full((6, 1), 0.2)]),
            gate_time_s=np.hstack([LOSES.gate_time_s, LOSES.gate_time_s[:, -1:] + 0.2]),
        )

        said = speed.tell(speed.work_out(both))

        assert any("in 6 of 6 attempts a time there had to be read" in e for e in said.would_change)
