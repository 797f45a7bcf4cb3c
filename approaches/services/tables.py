"""Tables of comma-separated values (RFC 4180): each line as the JSON object that it stands for.

An array is written as numbered columns (`toe_m_0, toe_m_1, ...`), and an empty cell is an absent
value. What a cell may say is left to the reader of the JSON, so that a line gives the same reading
and the same codes as an object sent as JSON.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import msgspec

from approaches.services.limits import MAX_ROW_BYTES, find_oversize
from common.errors import Fault, InvalidColumnsError, UnreadableBodyError, pointer_part

MAX_FAULTS = 20

# A cell in quotes holds anything, its own quotes doubled; one without holds no quote at all.
_CELL = re.compile(r'(?:"([^"]*(?:""[^"]*)*)"|([^",\r\n]*)),')
# As JSON writes numbers. A plus sign may lead, as results lists print it before a tail wind.
_UNSIGNED = r"(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?"
_NUMBER = re.compile(rf"[+-]?{_UNSIGNED}")
_NUMBERS = re.compile(rf"-?{_UNSIGNED}(?:,-?{_UNSIGNED})*")
_YES_OR_NO = {"true": "true", "false": "false", "TRUE": "true", "FALSE": "false"}
_NUMBERED = re.compile(r"(\w+)_(0|[1-9][0-9]?)")


class _NotOfItsKindError(Exception):
    """A cell says nothing that its column can hold."""

    def __init__(self, code: str, detail: str) -> None:
        super().__init__(detail)
        self.code, self.detail = code, detail


# What a column holds: a function that turns a cell into JSON.
Kind = Callable[[str], str]


# Spreadsheets take a cell for a formula that begins so (OWASP, "CSV Injection": also tab, carriage
# return and line feed, which no text here may hold). Where semicolons part cells, a text with one
# is two.
_FORMULA = re.compile(r"(^|;)(?=[=+@-]|'[=+@'-])")
_GUARDED = re.compile(r"(^|;)'(?=[=+@'-])")


def text(cell: str) -> str:
    """Return a cell as a JSON string, without the apostrophes that keep it from being a formula."""
    if "'" in cell:
        cell = _GUARDED.sub(r"\1", cell)
    return msgspec.json.encode(cell).decode()


def as_text(value: str) -> str:
    """Return a text as a cell that no spreadsheet takes for a formula; `text` reads it back."""
    return _FORMULA.sub(r"\1'", value)


def number(cell: str) -> str:
    """Return a cell as a JSON number, digit by digit."""
    if _NUMBER.fullmatch(cell) is None:
        raise _NotOfItsKindError("not_a_number", "A number is written as 34.2, -0.8 or +0.8.")
    return cell.removeprefix("+")


def decimal(cell: str) -> str:
    """Return a cell as a decimal number, which JSON keeps exactly as a string."""
    return f'"{number(cell)}"'


def yes_or_no(cell: str) -> str:
    """Return a cell as true or false; spreadsheets write them in capital letters."""
    if cell not in _YES_OR_NO:
        raise _NotOfItsKindError("wrong_type", "Write true or false.")
    return _YES_OR_NO[cell]


@dataclass(frozen=True, slots=True)
class Array:
    """An array, and the object in which it stands; without one it stands in the row itself."""

    name: str
    kind: Kind
    most: int
    within: str = ""


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns that a table may have; an array has one for each place, from 0 on."""

    fields: Mapping[str, Kind]
    required: Sequence[str]
    arrays: Mapping[str, Array]

    def find_place(self, name: str) -> tuple[str, int] | None:
        """Return the array and the place in it that a numbered column means."""
        numbered = _NUMBERED.fullmatch(name)
        if numbered is None:
            return None
        array = self.arrays.get(numbered[1])
        place = int(numbered[2])
        return None if array is None or place >= array.most else (numbered[1], place)


class Record(NamedTuple):
    """A line of a table, or several where a cell holds line breaks."""

    line: int  # the first
    raw: bytes  # the JSON that it stands for, or its own text where it stands for none
    fault: Fault | None


def read_records(lines: Iterator[tuple[int, bytes]], columns: Columns) -> Iterator[Record]:
    """Yield every record below the header; blank lines are none.

    Raises
    ------
    UnreadableBodyError
        There is no header, or a quote stands where none may: nobody knows then where a line ends.
    InvalidColumnsError
        A column is unknown, missing, or there twice.
    """
    records = _split(lines)
    for line, raw in records:
        header = _Header(line, raw, columns)
        break
    else:
        raise UnreadableBodyError("The table has no header.")
    for line, raw in records:
        yield header.read(line, raw)


def _split(lines: Iterator[tuple[int, bytes]]) -> Iterator[tuple[int, bytes]]:
    """Yield each record and the number of its first line."""
    since, size = 0, 0
    parts: list[bytes] = []
    for line_number, line in lines:
        if not parts:
            if not line.strip(b"\r\n"):
                continue
            since, size = line_number, 0
        ends = line.count(b'"') % 2 == (1 if parts else 0)  # outside of every quoted cell
        parts.append(line)
        size += len(line)
        if ends:
            yield since, b"".join(parts).removesuffix(b"\n").removesuffix(b"\r")
            parts = []
        elif size > MAX_ROW_BYTES:
            break
    if parts:
        raise UnreadableBodyError(f"The quote that opens in line {since} is not closed.")


def _cells_of(line: int, record: str) -> list[str]:
    if '"' not in record and "\r" not in record:
        return record.split(",")
    cells: list[str] = []
    record += ","
    place = 0
    while place < len(record):
        cell = _CELL.match(record, place)
        if cell is None:
            raise UnreadableBodyError(
                f"Line {line}: a cell with a quote or a line break in it is quoted as a whole, and "
                "its own quotes are doubled (RFC 4180)."
            )
        quoted, bare = cell.groups()
        cells.append(bare if quoted is None else quoted.replace('""', '"'))
        place = cell.end()
    return cells


class _Header:
    """The first record: what stands in each cell of the others."""

    def __init__(self, line: int, raw: bytes, columns: Columns) -> None:
        if len(raw) > MAX_ROW_BYTES:
            raise UnreadableBodyError(f"A header has at most {MAX_ROW_BYTES} bytes.")
        try:
            names = _cells_of(line, raw.decode())
        except UnicodeDecodeError as error:
            detail = f"The header is not UTF-8 (byte {error.start})."
            raise UnreadableBodyError(detail) from error
        _check_names(names, columns)
        self._count = len(names)
        self._fields = [
            (names.index(name), name, kind)
            for name, kind in columns.fields.items()
            if name in names
        ]
        self._objects = _objects_of(names, columns)

    def read(self, line: int, raw: bytes) -> Record:
        """Return what a line stands for."""
        fault = find_oversize(raw)
        if fault is not None:
            return Record(line, raw, fault)
        try:
            cells = _cells_of(line, raw.decode())
        except UnicodeDecodeError:
            return Record(line, raw, Fault("", "not_utf8", "The line is not UTF-8."))
        if len(cells) != self._count:
            detail = f"The header has {self._count} cells; this line has {len(cells)}."
            return Record(line, raw, Fault("", "wrong_cell_count", detail))
        faults: list[Fault] = []
        parts = [
            f'"{name}":{_json_of(cells[place], kind, (name,), faults)}'
            for place, name, kind in self._fields
            if cells[place]
        ]
        for within, arrays in self._objects.items():
            inner = _arrays_of(cells, within, arrays, faults)
            if inner:
                parts += [f'"{within}":{{{",".join(inner)}}}'] if within else inner
        return Record(line, f"{{{','.join(parts)}}}".encode(), faults[0] if faults else None)


# An array of a table, and the places of its cells in a line; None where the table has no column.
_Places = tuple[Array, list[int | None]]


def _objects_of(names: Sequence[str], columns: Columns) -> dict[str, list[_Places]]:
    """Return the arrays of a table by the object in which they stand."""
    numbered: dict[str, dict[int, int]] = {}
    for cell, name in enumerate(names):
        found = columns.find_place(name)
        if found is not None:
            numbered.setdefault(found[0], {})[found[1]] = cell
    objects: dict[str, list[_Places]] = {}
    for name, cells in numbered.items():
        array = columns.arrays[name]
        places = [cells.get(place) for place in range(max(cells) + 1)]
        objects.setdefault(array.within, []).append((array, places))
    return objects


def _arrays_of(
    cells: Sequence[str], within: str, arrays: Sequence[_Places], faults: list[Fault]
) -> list[str]:
    """Return the arrays of one object; they end together, where the last of them has a value."""
    sent: list[tuple[Array, list[str]]] = []
    length = 0
    for array, places in arrays:
        values = ["" if place is None else cells[place] for place in places]
        while values and not values[-1]:
            values.pop()
        if values:
            sent.append((array, values))
            length = max(length, len(values))
    inner = []
    for array, values in sent:
        path = (within, array.name) if within else (array.name,)
        items = ",".join(values)
        if array.kind is not number or not _are_numbers(items, len(values)):
            items = ",".join(
                _json_of(cell, array.kind, (*path, str(place)), faults) if cell else "null"
                for place, cell in enumerate(values)
            )
        inner.append(f'"{array.name}":[{items}{",null" * (length - len(values))}]')
    return inner


def _are_numbers(items: str, count: int) -> bool:
    """Answer whether cells are JSON as they stand: seen at once, much faster than one by one."""
    # A comma within a cell would part it in two.
    return items.count(",") == count - 1 and _NUMBERS.fullmatch(items) is not None


def _json_of(cell: str, kind: Kind, path: Sequence[str], faults: list[Fault]) -> str:
    """Return a cell as JSON; what is none of its kind stays the text that it is."""
    try:
        return kind(cell)
    except _NotOfItsKindError as error:
        faults.append(Fault(f"/{'/'.join(path)}", error.code, error.detail))
        return text(cell)


def _check_names(names: Sequence[str], columns: Columns) -> None:
    faults = []
    seen: set[str] = set()
    for name in names:
        shown, pointer = name[:40], f"/{pointer_part(name[:40])}"
        if name not in columns.fields and columns.find_place(name) is None:
            detail = f"There is no column {shown!r}; columns are parted by commas."
            faults.append(Fault(pointer, "unknown_column", detail))
        elif name in seen:
            faults.append(Fault(pointer, "repeated_column", f"The column {shown} is there twice."))
        seen.add(name)
    faults += [
        Fault(f"/{name}", "missing_column", f"The column {name} is missing.")
        for name in columns.required
        if name not in seen
    ]
    if faults:
        raise InvalidColumnsError(faults[0].detail, faults=faults[:MAX_FAULTS])
