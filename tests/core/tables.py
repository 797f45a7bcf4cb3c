"""Tables of shares, measured on simulated athletes, and the page that they stand on."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Row:
    """One setting.

    Attributes
    ----------
    setting
        The cells that say who jumps how often, and what is true.
    measure
        Returns one number for each measured column.
    """

    setting: tuple[str, ...]
    measure: Callable[[], Sequence[float]]


@dataclass(frozen=True)
class Table:
    """A table of the page.

    Attributes
    ----------
    title, text
        What stands above it.
    settings, columns
        Headings of the settings and of the measured numbers.
    rows
        In their order.
    """

    title: str
    text: str
    settings: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Page:
    """A page of tables that a program writes."""

    path: Path
    introduction: str
    tables: tuple[Table, ...]

    def render(self, measured: Sequence[Sequence[Sequence[float]]]) -> str:
        """Return the page for the numbers of each row of each table."""
        parts = [self.introduction]
        for table, rows in zip(self.tables, measured, strict=True):
            headings = (*table.settings, *table.columns)
            parts.append(f"\n## {table.title}\n\n{table.text}\n\n")
            parts.append(f"| {' | '.join(headings)} |\n|{'---|' * len(headings)}\n")
            for row, numbers in zip(table.rows, rows, strict=True):
                cells = (*row.setting, *(f"{number:.2f}" for number in numbers))
                parts.append(f"| {' | '.join(cells)} |\n")
        return "".join(parts)

    def read(self, table: Table) -> dict[tuple[str, ...], list[float]]:
        """Return the numbers that the page gives, by the setting of the row."""
        written = self.path.read_text(encoding="utf-8")
        section = written.split(f"\n## {table.title}\n")[1].split("\n## ")[0]
        lines = [line for line in section.splitlines() if line.startswith("|")][2:]
        cells = [re.split(r" \| ", line.strip("| ")) for line in lines]
        width = len(table.settings)
        return {tuple(row[:width]): [float(cell) for cell in row[width:]] for row in cells}

    def write(self) -> None:
        """Measure every row, say so, and write the page."""
        measured = []
        for table in self.tables:
            rows = []
            for row in table.rows:
                rows.append(row.measure())
                print(f"{table.title}: {row.setting} {[round(x, 3) for x in rows[-1]]}", flush=True)
            measured.append(rows)
        self.path.write_text(self.render(measured), encoding="utf-8")
