"""The page that says how often diagnosis and advice were right."""

import re
from collections.abc import Sequence
from pathlib import Path

from tests.core.decisions import diagnosing, lengthening, marking
from tests.core.decisions.tables import Table

PAGE = Path(__file__).parents[3] / "docs" / "metrics" / "decisions.md"
TABLES = (
    diagnosing.TABLE,
    marking.TABLE,
    marking.POWER,
    lengthening.TABLE,
    lengthening.POWER,
)

_INTRODUCTION = """\
# How often diagnosis and advice are right

Written by `python -m tests.core.decisions`; a test measures again and compares.

Measured on [simulated athletes](simulator.md) whose trouble is known, which no real athlete's is:
real ones have several at once, and troubles that the simulator does not know. Shares have a
standard error of up to 0.035 over 200 runs. Read it as the best that can be hoped for. Advice
never replaces the coach on the spot.
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
