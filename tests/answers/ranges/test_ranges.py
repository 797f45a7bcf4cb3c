"""The ranges of "what if" hold about as often as they are called, and the page says how often."""

import pytest

from tests.answers.ranges import holding
from tests.answers.ranges.page import PAGE
from tests.core.tables import Row

# Three standard errors of a share of 0.85 below it: less is not called 90 %.
LEAST = 0.85 - 3 * (0.85 * 0.15 / holding.RUNS) ** 0.5


class TestPage:
    def test_gives_every_row(self):
        assert list(PAGE.read(holding.TABLE)) == [row.setting for row in holding.TABLE.rows]

    def test_no_range_of_who_stays_as_he_was_holds_much_less_often_than_it_is_called(self):
        for (athlete, asked, _), numbers in PAGE.read(holding.TABLE).items():
            assert min(numbers[:3]) >= LEAST or "grows" in athlete, (athlete, asked)

    def test_on_the_mean_they_hold_as_often_as_they_are_called_or_a_little_more(self):
        by_row = PAGE.read(holding.TABLE).values()

        for shares in zip(*(numbers[:3] for numbers in by_row), strict=True):
            assert 0.88 <= sum(shares) / len(shares) <= 0.97


# All rows take twenty minutes: the command measures them, this those of one athlete.
MEASURED_AGAIN = [row for row in holding.TABLE.rows if row.setting[0].startswith("does not steer")]


@pytest.mark.slow
@pytest.mark.parametrize("row", MEASURED_AGAIN, ids=[str(row.setting) for row in MEASURED_AGAIN])
class TestRows:
    def test_are_as_the_page_says(self, row: Row):
        # Another version of a library may tip a few of the runs.
        assert row.measure() == pytest.approx(PAGE.read(holding.TABLE)[row.setting], abs=0.03)
