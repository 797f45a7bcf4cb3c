"""The page that says how often the charts alarm without a change, and how soon with one."""

import re
from collections.abc import Sequence
from pathlib import Path

from tests.core.decisions.tables import Table
from tests.core.false_alarms import changed, searches, unchanged

PAGE = Path(__file__).parents[3] / "docs" / "metrics" / "false_alarms.md"
TABLES = (
    unchanged.TABLE,
    unchanged.WINDOWS,
    changed.SHIFTS,
    changed.SPREADS,
    changed.DATES,
    searches.TABLE,
)

_INTRODUCTION = """\
# False alarms, and how soon a change is called

Written by `python -m tests.core.false_alarms`; a test measures again and compares.

Invented athletes aim at 0.06 m and spread by 0.08 m (SD) within a session; their errors are
normal. "Sessions differ" is the SD of the sessions' own effects over that within. Each athlete has
a baseline of their own, estimated from the first sessions as in the service. Real athletes also
tire, warm up and have wild days, so read all of it as the best that can be hoped for. An alarm is a
reason to look. What follows from it the coach on the spot decides.
"""


def render(measured: Sequence[Sequence[Sequence[float]]]) -> str:
    """Return the page for the numbers of each row of each table."""
    parts = [_INTRODUCTION]
    for table, rows in zip(TABLES, measured, strict=True):
        headings = (*table.settings, *table.columns)
        parts.append(f"\n## {table.title}\n\n{table.text}\n\n")
        parts.append(f"| {' | '.join(headings)} |\n|{'---|' * len(headings)}\n")
        for row, numbers in zip(table.rows, rows, strict=True):
            cells = (*row.setting, *(f"{number:.2f}" for number in numbers))
            parts.append(f"| {' | '.join(cells)} |\n")
    return "".join(parts)


def read(table: Table) -> dict[tuple[str, ...], list[float]]:
    """Return the numbers that the page gives, by the setting of the row."""
    section = PAGE.read_text(encoding="utf-8").split(f"\n## {table.title}\n")[1].split("\n## ")[0]
    lines = [line for line in section.splitlines() if line.startswith("|")][2:]
    cells = [re.split(r" \| ", line.strip("| ")) for line in lines]
    width = len(table.settings)
    return {tuple(row[:width]): [float(cell) for cell in row[width:]] for row in cells}
