"""Attempts as a source would send them: what is read as a table or as lines can be pushed again.

Names are codes, as people write them. Of a value that is stored nothing is rounded.
"""

import csv
import io
import math
from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import msgspec
from django.db.models import Count, Max, QuerySet

from approaches.models import Attempt
from approaches.services import tables
from approaches.services.resolving import CODE_PREFIX

# So many are fetched and written at a time.
ROWS_AT_ONCE = 500
MOST_PHASES = 3

_FIELDS = (
    "external_id",
    "athlete__code",
    "approach__code",
    "session__code",
    "started_at",
    "finish",
    "outcome",
    "official_m",
    "start_mark_m",
    "wind_mps",
    "take_off_foot_ok",
    "phases",
    "toe_m",
    "touchdown_s",
    "toe_off_s",
    "contact",
    "gate_at_m",
    "gate_time_s",
)
_NUMBERED = _FIELDS.index("phases")
_COLUMNS = ("external_id", "athlete", "approach", "session", *_FIELDS[4:_NUMBERED])
_YES_OR_NO = {None: "", True: "true", False: "false"}
_encoder = msgspec.json.Encoder()


@dataclass(frozen=True, slots=True)
class Extent:
    """How many attempts a file holds, and how many of each their arrays have at most."""

    rows: int
    footfalls: int
    gates: int


def measure(attempts: QuerySet[Attempt]) -> Extent:
    """Return how large a file of the attempts will be."""
    found = attempts.order_by().aggregate(
        rows=Count("id"), footfalls=Max("toe_m__len"), gates=Max("gate_at_m__len")
    )
    return Extent(found["rows"], found["footfalls"] or 0, found["gates"] or 0)


def write_table(attempts: QuerySet[Attempt], extent: Extent) -> Generator[bytes, None, None]:
    """Yield the attempts as a table, in the order in which they were stored."""
    widths = {
        "phases": MOST_PHASES,
        **dict.fromkeys(("toe_m", "touchdown_s", "toe_off_s", "contact"), extent.footfalls),
        **dict.fromkeys(("gate_at_m", "gate_time_s"), extent.gates),
    }
    lengths = [widths[name] for name in _FIELDS[_NUMBERED:]]
    header = [
        *_COLUMNS,
        *(f"{name}_{place}" for name in widths for place in range(widths[name])),
    ]
    written = io.StringIO(newline="")
    writer = csv.writer(written)
    writer.writerow(header)
    for rows in _read(attempts):
        writer.writerows(_cells_of(row, lengths) for row in rows)
        yield _taken_from(written)
    if written.tell():
        yield _taken_from(written)  # there was none


def write_lines(attempts: QuerySet[Attempt]) -> Generator[bytes, None, None]:
    """Yield the attempts as lines of JSON, in the order in which they were stored."""
    for rows in _read(attempts):
        yield _encoder.encode_lines([_object_of(row) for row in rows])


def _read(attempts: QuerySet[Attempt]) -> Iterator[list[tuple[Any, ...]]]:
    """Yield the attempts by the hundreds; the database keeps the others until it is their turn."""
    rows = attempts.order_by("id").values_list(*_FIELDS).iterator(chunk_size=ROWS_AT_ONCE)
    part = []
    for row in rows:
        part.append(row)
        if len(part) == ROWS_AT_ONCE:
            yield part
            part = []
    if part:
        yield part


def _taken_from(written: io.StringIO) -> bytes:
    text = written.getvalue()
    written.seek(0)
    written.truncate()
    return text.encode()


def _cells_of(row: Sequence[Any], lengths: Sequence[int]) -> list[Any]:
    external_id, athlete, approach, session, started_at, *single, foot_ok = row[:_NUMBERED]
    cells = [
        tables.as_text(external_id),
        tables.as_text(f"{CODE_PREFIX}{athlete}"),
        tables.as_text(approach),
        tables.as_text(session),
        _moment(started_at),
        *single,
        _YES_OR_NO[foot_ok],
    ]
    for values, length in zip(row[_NUMBERED:], lengths, strict=True):
        cells += map(_cell_of, values)
        cells += [""] * (length - len(values))
    return cells


def _cell_of(value: float | str | None) -> float | str | None:
    return None if isinstance(value, float) and math.isnan(value) else value


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _object_of(row: Sequence[Any]) -> dict[str, Any]:
    external_id, athlete, approach, session, *single = row[:_NUMBERED]
    phases, toe_m, touchdown_s, toe_off_s, contact, gate_at_m, gate_time_s = row[_NUMBERED:]
    known: dict[str, Any] = {
        "external_id": external_id,
        "athlete": f"{CODE_PREFIX}{athlete}",
        "approach": approach,
        "session": session,
        **dict(zip(_COLUMNS[4:], single, strict=True)),
        "phases": phases,
    }
    if toe_m:
        # The encoder writes NaN, which stands for what was not measured, as null.
        known["footfalls"] = {
            "toe_m": toe_m,
            "touchdown_s": touchdown_s,
            "toe_off_s": toe_off_s,
            "contact": contact,
        }
    if gate_at_m:
        known["gates"] = {"at_m": gate_at_m, "time_s": gate_time_s}
    return {name: value for name, value in known.items() if value is not None}
