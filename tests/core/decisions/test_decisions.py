"""The page on decisions says what was measured, and what must hold for them to be of use."""

import pytest

from tests.core.decisions import diagnosing, lengthening, marking
from tests.core.decisions.page import PAGE
from tests.core.tables import Row, Table

ROWS = [(table, row) for table in PAGE.tables for row in table.rows]


class TestPage:
    @pytest.mark.parametrize("table", PAGE.tables, ids=lambda table: table.title)
    def test_gives_every_row(self, table: Table):
        assert list(PAGE.read(table)) == [row.setting for row in table.rows]

    def test_diagnosis_leaves_nine_of_ten_athletes_without_trouble_alone(self):
        for (trouble, _), (right, *_) in PAGE.read(diagnosing.TABLE).items():
            assert right >= 0.85 or trouble != "none"

    def test_more_attempts_name_a_wrong_mark_more_often(self):
        found = PAGE.read(diagnosing.TABLE)

        rights = [found["wrong mark", n][0] for n in ("6", "12", "20", "40")]
        assert rights == sorted(rights)

    def test_advice_leaves_less_of_a_wrong_mark_than_the_last_three_do(self):
        for (athlete, mark, attempts), (*_, left, by_rule) in PAGE.read(marking.TABLE).items():
            assert left < by_rule or float(mark) in {0.1}, (athlete, mark, attempts)

    def test_two_sessions_running_pass_no_more_of_the_unready_than_one_look(self):
        for setting, (one, rolling, each, two, *_) in PAGE.read(lengthening.TABLE).items():
            if float(setting[0]) > lengthening.LIMIT_M:
                assert two <= one + 0.03, setting
                assert two <= each <= rolling, setting

    def test_two_sessions_running_find_those_who_are_ready(self):
        found = PAGE.read(lengthening.TABLE)

        assert all(found["0.08", differ][3] >= 0.8 for differ in ("0.3", "1.5"))

    def test_a_spread_at_the_limit_is_shown_to_be_below_it_no_more_than_promised(self):
        for (sd, _), (known, alike, differ, _) in PAGE.read(lengthening.POWER).items():
            if float(sd) >= lengthening.LIMIT_M:
                assert max(known, alike, differ) <= 0.2, sd


@pytest.mark.slow
@pytest.mark.parametrize(
    ("table", "row"), ROWS, ids=[f"{table.title}: {row.setting}" for table, row in ROWS]
)
class TestRows:
    def test_are_as_the_page_says(self, table: Table, row: Row):
        # Another version of a library may tip a few of the runs.
        assert row.measure() == pytest.approx(PAGE.read(table)[row.setting], abs=0.02)
