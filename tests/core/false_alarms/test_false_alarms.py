"""The page says what was measured, and what must hold for the charts to be of use."""

import numpy as np
import pytest

from analytics.core import following
from tests.core.false_alarms import changed, searches, seasons, unchanged
from tests.core.false_alarms.page import PAGE
from tests.core.tables import Row, Table

ROWS = [(table, row) for table in PAGE.tables for row in table.rows]


class TestPage:
    @pytest.mark.parametrize("table", PAGE.tables, ids=lambda table: table.title)
    def test_gives_every_row(self, table: Table):
        assert list(PAGE.read(table)) == [row.setting for row in table.rows]

    def test_level_chart_keeps_its_promise_where_sessions_differ_as_it_assumes(self):
        for (m, between, _), (level, *_) in PAGE.read(unchanged.TABLE).items():
            promised = 100 * following.LEVEL_FALSE_ALARMS_PER_SESSION / float(m)
            assert level <= promised or float(between) > 0.7, (m, between)

    def test_spread_chart_keeps_its_promise(self):
        for (m, between, _), (_, spread, *_) in PAGE.read(unchanged.TABLE).items():
            promised = 100 * following.SPREAD_FALSE_ALARMS_PER_SESSION / float(m)
            assert spread <= promised, (m, between)

    def test_charts_alarm_far_less_than_three_misses_in_a_row(self):
        for numbers in PAGE.read(unchanged.TABLE).values():
            level, spread, off_board, *_ = numbers
            assert 5 * (level + spread) < off_board

    def test_larger_shifts_are_called_sooner(self):
        found = PAGE.read(changed.SHIFTS)

        for between in ("0", "0.35", "0.7"):
            late = [found[size, between][2] for size in ("0", "0.5", "1", "2")]
            assert late == sorted(late)
            assert found["1", between][0] > found["2", between][0]

    def test_a_search_finds_no_more_than_it_promises_in_sessions_that_are_alike(self):
        for (sessions, _), (shift, by_table, _) in PAGE.read(searches.TABLE).items():
            if sessions.startswith("alike"):
                # 0.05 and twice the standard error of 600 series.
                assert shift <= 0.07
                assert by_table > 0.15


class TestRules:
    def test_count_three_in_a_row_and_begin_anew(self):
        toe = np.array([-0.01, 0.25, -0.02, -0.01, 0.05, 0.21, 0.21, 0.21])

        assert np.flatnonzero(seasons.off_the_board(toe)).tolist() == [2, 7]

    def test_ask_for_the_same_side(self):
        toe = np.array([0.17, -0.05, 0.17, 0.17, 0.17, 0.06, -0.05, -0.05, -0.05])

        assert np.flatnonzero(seasons.off_to_one_side(toe)).tolist() == [4, 8]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("table", "row"), ROWS, ids=[f"{table.title}: {row.setting}" for table, row in ROWS]
)
class TestRows:
    def test_are_as_the_page_says(self, table: Table, row: Row):
        # Another version of a library may tip a few of the alarms.
        assert row.measure() == pytest.approx(PAGE.read(table)[row.setting], abs=0.02, rel=0.05)
