"""The wind table, in figures and words."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.answers import wind_table as answer
from analytics.core import wind_table
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.simulator import Athlete
from analytics.core.wind import felt_wind
from analytics.core.wind_table import WindTable
from analytics.selectors import CheckMark, RunUps
from tests.answers.run_ups import make_marks, make_run_ups, simulated

# Footfall 6 planned at 12 m, 22.2 m after the start mark.
MARKS = make_marks(check_marks=(CheckMark(6, 12.0),))
WINDS = np.tile([-2.0, -1.0, 0.0, 1.0, 2.0, 3.0], 8)


def blown(slope_m: float, *, start_moved_m: float = 0.0, seed: int = 4) -> RunUps:
    """Return 48 attempts whose footfall 6 moves with the wind, run from the mark or beside it."""
    rng = np.random.default_rng(seed)
    session = np.repeat(np.arange(8), 6)
    error = slope_m * felt_wind(WINDS) + rng.normal(0, 0.05, WINDS.size) + start_moved_m
    toe = 0.06 + 2.0 * np.arange(17) + np.zeros((WINDS.size, 1))
    toe[:, 6] = 12.0 + error
    made = make_run_ups(toe, marks=MARKS, session=session.tolist(), wind_mps=WINDS)
    return replace(made, start_mark_m=np.full(WINDS.size, 34.2 + start_moved_m))


def table_of(found: answer.Winds) -> WindTable:
    assert isinstance(found.table, WindTable)
    return found.table


class TestTheAthletesOwn:
    def test_slope_is_found_again(self):
        found = answer.work_out(blown(-0.09))

        table = table_of(found)
        assert found.check_footfall == 6
        assert found.run_m == pytest.approx(22.2)
        assert table.slope_interval.low < -0.09 < table.slope_interval.high
        assert table.own_share > 0.9
        said = answer.tell(found)
        assert "This is the athlete's own, from 48 attempts" in said.text
        assert said.caution is not None

    def test_is_the_cores_of_the_same_errors(self):
        runs = blown(-0.09)

        direct = wind_table.wind_table(
            runs.toe_m[:, 6] - 12.0, WINDS, run_m=22.2, session=runs.session_labels
        )

        np.testing.assert_allclose(table_of(answer.work_out(runs)).move_m, direct.move_m, atol=1e-9)

    def test_does_not_change_when_all_were_run_from_a_mark_farther_back(self):
        here, there = (
            table_of(answer.work_out(blown(-0.09, start_moved_m=moved))) for moved in (0.0, 0.5)
        )

        np.testing.assert_allclose(there.move_m, here.move_m, atol=1e-9)

    def test_marks_move_back_with_a_tail_wind_and_toward_the_pit_with_a_head_wind(self):
        table = table_of(found := answer.work_out(blown(-0.09)))

        at_2, at_minus_2 = table.move_m[5], table.move_m[1]
        text = answer.tell(found).text
        assert f"With a tail wind of 2 m/s move all marks back by {100 * at_2:.0f} cm" in text
        assert f"a head wind of 2 m/s move all marks {-100 * at_minus_2:.0f} cm toward" in text
        assert at_minus_2 < 0 < at_2 < -at_minus_2  # a head wind costs more

    def test_says_where_it_is_carried_on(self):
        said = answer.tell(answer.work_out(blown(-0.09)))

        assert (
            "Attempts in stronger winds: beyond -2 to 3 m/s the table is carried on."
            in said.would_change
        )

    def test_widens_one_attempt_in_gusts(self):
        calm, gusty = (answer.work_out(blown(-0.09), gust_sd_mps=each) for each in (0.0, 1.5))

        np.testing.assert_array_less(
            table_of(calm).attempt_sd_with_gusts_m, table_of(gusty).attempt_sd_with_gusts_m
        )
        assert "gusts" in {each.code for each in answer.tell(gusty).reasons}


class TestWhatIsUsual:
    def test_stands_where_nobody_read_the_wind(self):
        runs = replace(blown(-0.09), wind_mps=np.full(48, np.nan))

        found = answer.work_out(runs)

        usual = wind_table.wind_table([], [], run_m=22.2, session=[])
        np.testing.assert_allclose(table_of(found).move_m, usual.move_m)
        assert "This is what is usual, not this athlete's own" in answer.tell(found).text

    def test_stands_after_one_wind_alone(self):
        runs = replace(blown(-0.09), wind_mps=np.full(48, 0.5))

        assert "still more what is usual" in answer.tell(answer.work_out(runs)).text

    def test_stands_before_any_attempt(self):
        found = answer.work_out(simulated(Athlete(), [], seed=1))

        assert table_of(found).n == 0
        assert answer.tell(found).more_attempts_needed == 0

    def test_of_a_run_up_whose_footfalls_nobody_knows_is_for_all_of_it(self):
        runs = make_run_ups(
            np.column_stack([np.full(6, 0.06), np.full((6, 16), np.nan)]), wind_mps=WINDS[:6]
        )

        found = answer.work_out(runs)

        assert (found.check_footfall, found.run_m, table_of(found).n) == (None, 34.2, 0)
        assert any("A check mark in the plan" in each for each in answer.tell(found).would_change)

    def test_needs_a_run_up_of_known_length(self):
        runs = replace(make_run_ups(np.empty((0, 17))), marks_now=None)

        found = answer.work_out(runs)

        assert found.table == NotEnoughAttempts(n=0, needed=1)
        assert "A plan" in answer.tell(found).would_change[0]
