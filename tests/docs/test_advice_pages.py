"""How good each decision is: every number on its page is one that was measured, and is it still.

A row of such a page names in a comment the row and the column of the table that it is taken from:
`<!-- steers; 0.20; 12 => move -->`.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.docs import pages

FOLDER = pages.CHECKOUT / "docs" / "advice"
DECISIONS = sorted(page for page in FOLDER.glob("*.md") if page.name != "index.md")

_ROW = re.compile(
    r"^\| (?P<case>.+?) \| (?P<value>[\d.]+) \| \[[^\]]+\]\((?P<link>[^)]+)\) "
    r"<!-- (?P<keys>.+?) => (?P<column>.+?) --> \|$",
    re.M,
)
_LINK = re.compile(r"\[([^\]]*)\]\([^)]*\)")
_HEADING = re.compile(r"^#+ (.+)$")


@dataclass(frozen=True)
class Quoted:
    """A number on a page, and where it was measured."""

    case: str
    value: str
    page: Path
    anchor: str
    keys: tuple[str, ...]
    column: str


def list_quoted(page: Path) -> list[Quoted]:
    quoted = []
    for found in _ROW.finditer(page.read_text(encoding="utf-8")):
        name, _, anchor = found["link"].partition("#")
        quoted.append(
            Quoted(
                case=found["case"],
                value=found["value"],
                page=(page.parent / name).resolve(),
                anchor=anchor,
                keys=tuple(found["keys"].split("; ")),
                column=found["column"],
            )
        )
    return quoted


def list_rows(page: Path, anchor: str) -> Iterator[dict[str, str]]:
    """Yield the rows of the tables below a heading, or of the whole page, by their columns."""
    header: list[str] = []
    inside = anchor == ""
    for line in page.read_text(encoding="utf-8").splitlines():
        if heading := _HEADING.match(line):
            inside = anchor in {"", re.sub(r"[^\w\- ]", "", heading[1].lower()).replace(" ", "-")}
        if not line.startswith("|"):
            header = []
        elif inside and not header:
            header = cells_of(line)
        elif inside and not line.startswith("|---"):
            yield dict(zip(header, cells_of(line), strict=True))


def cells_of(line: str) -> list[str]:
    return [cell.strip() for cell in _LINK.sub(r"\1", line).strip("|").split("|")]


def measured(quoted: Quoted) -> list[str]:
    """Return the number of each row that has the keys in this order."""
    return [
        row[quoted.column]
        for row in list_rows(quoted.page, quoted.anchor)
        if quoted.column in row and _has(list(row.values()), quoted.keys)
    ]


def _has(cells: list[str], keys: tuple[str, ...]) -> bool:
    return tuple(cells[: len(keys)]) == keys


@pytest.mark.parametrize("page", DECISIONS, ids=pages.name_of)
class TestDecisions:
    def test_say_how_good_they_are_in_measured_numbers(self, page: Path):
        quoted = list_quoted(page)

        assert quoted
        wrong = [each for each in quoted if measured(each) != [each.value]]
        assert wrong == [], [(each.case, each.value, measured(each)) for each in wrong]

    def test_quote_no_number_without_its_table(self, page: Path):
        """A share in a table of cases that names no row would be one that nobody can check."""
        text = page.read_text(encoding="utf-8")
        tables = text.split("| case | measured | from |\n|---|---|---|\n")[1:]
        rows = [line for table in tables for line in table.partition("\n\n")[0].splitlines()]

        assert len(rows) == len(list_quoted(page))

    def test_have_the_same_parts(self, page: Path):
        headings = re.findall(r"^## (.+)$", page.read_text(encoding="utf-8"), re.M)

        assert headings[:4] == [
            "What goes in",
            "The rule",
            "How good it is",
            "What it does not know",
        ]

    def test_leave_the_decision_to_the_coach_on_the_spot(self, page: Path):
        text = " ".join(page.read_text(encoding="utf-8").split())

        assert "The coach on the spot decides" in text
        for danger in ("pain", "unsafe pit", "lightning"):
            assert danger in text

    def test_are_listed(self, page: Path):
        assert f"]({page.name})" in (FOLDER / "index.md").read_text(encoding="utf-8")


class TestQuoting:
    def test_finds_one_row_by_its_keys(self):
        page = pages.CHECKOUT / "docs" / "metrics" / "decisions.md"
        quoted = Quoted("", "", page, "diagnosis", ("wrong mark", "20"), "attempts")

        assert measured(quoted) == ["20"]

    def test_finds_nothing_elsewhere(self):
        page = pages.CHECKOUT / "docs" / "metrics" / "decisions.md"
        quoted = Quoted("", "", page, "start-mark-advice", ("wrong mark", "20"), "attempts")

        assert measured(quoted) == []
