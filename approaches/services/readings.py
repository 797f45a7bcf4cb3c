"""What a push sends, and how its text becomes readings."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Annotated, Literal

import msgspec

from approaches.errors import TooManyRowsError, UnreadableBodyError
from common.errors import Fault

MAX_ROWS = 5_000
MAX_BODY_BYTES = 10 * 1024 * 1024
MAX_ROW_BYTES = 64 * 1024

# Text without control characters: the database cannot hold a NUL, and people cannot see the rest.
Text = Annotated[str, msgspec.Meta(min_length=1, max_length=64, pattern=r"^[^\x00-\x1f\x7f]+$")]
Metres = list[float | None]
Seconds = list[float | None]


class Footfalls(msgspec.Struct, forbid_unknown_fields=True, frozen=True, gc=False):
    """Footfalls from take-off back: where the toe was, when it came and left, what touched."""

    toe_m: Metres | None = None
    touchdown_s: Seconds | None = None
    toe_off_s: Seconds | None = None
    contact: list[Literal["ball", "flat", "heel"] | None] | None = None


class Gates(msgspec.Struct, forbid_unknown_fields=True, frozen=True, gc=False):
    """Timing gates in the order in which they were passed, on the footfalls' clock."""

    at_m: list[float]
    time_s: list[float]


class Measured(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True, gc=False):
    """What is known of one attempt, whoever noted it."""

    athlete: Text
    approach: Text
    started_at: Annotated[datetime, msgspec.Meta(tz=True)]
    finish: Literal["run_through", "pop_up", "jump"]
    phases: list[Literal["acceleration", "transition", "attack"]] | None = None
    start_mark_m: float | None = None
    wind_mps: float | None = None
    outcome: Literal["valid", "no_jump", "baulk", "not_judged"] = "not_judged"
    take_off_foot_ok: bool | None = None
    official_m: Decimal | None = None
    footfalls: Footfalls | None = None
    gates: Gates | None = None


class Reading(Measured, forbid_unknown_fields=True, frozen=True, kw_only=True, gc=False):
    """One attempt as a source sends it."""

    external_id: Text
    session: Text


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a push: where it stood, and the reading or what is wrong with it."""

    index: int
    line: int | None
    raw: bytes | msgspec.Raw  # a part of the body, copied only when it is kept
    reading: Reading | None
    fault: Fault | None
    external_id: str


_batch = msgspec.json.Decoder(list[Reading])
_raw_batch = msgspec.json.Decoder(list[msgspec.Raw])
_one = msgspec.json.Decoder(Reading)


class _Named(msgspec.Struct):
    external_id: Text = ""


_named = msgspec.json.Decoder(_Named)

_BOM = b"\xef\xbb\xbf"


def read_json_batch(body: bytes) -> list[Row]:
    """Return the rows of a JSON array.

    Raises
    ------
    UnreadableBodyError
        The body is no JSON array.
    TooManyRowsError
        It has more than `MAX_ROWS` items.
    """
    try:
        raws = _raw_batch.decode(body)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise UnreadableBodyError(_explain(body, error)) from error
    _check_count(len(raws))
    readings = _decode_all(body, len(raws))
    if readings is not None:
        return [
            Row(index, None, raw, reading, None, reading.external_id)
            for index, (raw, reading) in enumerate(zip(raws, readings, strict=True))
        ]
    return [read_row(bytes(raw), index=index) for index, raw in enumerate(raws)]


def read_ndjson_batch(body: bytes) -> list[Row]:
    """Return the rows of newline-delimited JSON; a broken line is a refused row, not a failure.

    Raises
    ------
    TooManyRowsError
        It has more than `MAX_ROWS` lines that are not blank.
    """
    lines = body.removeprefix(_BOM).split(b"\n")
    numbered = [(number, line) for number, line in enumerate(lines, 1) if line.strip()]
    _check_count(len(numbered))
    return [
        read_row(line.strip(), index=index, line=number)
        for index, (number, line) in enumerate(numbered)
    ]


def read_row(raw: bytes, *, index: int = 0, line: int | None = None) -> Row:
    """Return one row, whether it can be read or not."""
    if len(raw) > MAX_ROW_BYTES:
        detail = f"A row has at most {MAX_ROW_BYTES} bytes; this one has {len(raw)}."
        return Row(index, line, raw, None, Fault("", "row_too_large", detail), "")
    try:
        reading = _one.decode(raw)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        return Row(index, line, raw, None, fault_of(error), _external_id_of(raw))
    return Row(index, line, raw, reading, None, reading.external_id)


def _check_count(count: int) -> None:
    if count > MAX_ROWS:
        raise TooManyRowsError(f"A batch has at most {MAX_ROWS} rows; this one has {count}.")


def _decode_all(body: bytes, count: int) -> Sequence[Reading] | None:
    """Return every reading in one go, which is much faster, or None when some row is bad."""
    if len(body) > MAX_ROW_BYTES * max(count, 1):
        return None
    try:
        readings = _batch.decode(body)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return None
    return readings


def _explain(body: bytes, error: Exception) -> str:
    if body.startswith(_BOM):
        return "The body starts with a byte order mark, which JSON (RFC 8259) does not allow."
    if isinstance(error, RecursionError):
        return "The body is nested too deeply."
    if isinstance(error, UnicodeDecodeError):
        return f"The body is not UTF-8 (byte {error.start})."
    return f"The body is no JSON array: {error}."


def _external_id_of(raw: bytes) -> str:
    """Return the id of a row that cannot be read as a whole, so that its sender finds it."""
    try:
        return _named.decode(raw).external_id
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return ""


# msgspec says what is wrong in words that end with a JSON path; the words are ours to code.
_CODES = (
    ("unknown field", "unknown_field"),
    ("missing required field", "required"),
    ("Expected `datetime` with a timezone", "time_without_zone"),
    ("Invalid RFC3339", "not_a_time"),
    ("Number out of range", "number_out_of_range"),
    ("Invalid enum value", "unknown_value"),
    ("matching regex", "control_character"),
    ("of length", "wrong_length"),
    ("Invalid decimal", "not_a_number"),
    ("Expected", "wrong_type"),
)
_FIELD = re.compile(r"field `([^`]*)`")
_PATH = re.compile(r" - at `\$(.*)`$")


def fault_of(error: Exception) -> Fault:
    """Return what is wrong with what was sent, in our codes."""
    if isinstance(error, RecursionError):
        return Fault("", "nested_too_deeply", "The row is nested too deeply.")
    if not isinstance(error, msgspec.ValidationError):
        return Fault("", "not_json", f"The row is no JSON object: {error}.")
    message = str(error)
    path = _PATH.search(message)
    pointer = _pointer("" if path is None else path.group(1))
    code = next((code for words, code in _CODES if words in message), "wrong_type")
    field = _FIELD.search(message)
    if code in {"unknown_field", "required"} and field is not None:
        pointer = f"{pointer}/{_escape(field.group(1))}"
    return Fault(pointer[:200], code, _PATH.sub("", message)[:400] + ".")


def _pointer(path: str) -> str:
    """Return the JSON pointer of a path such as `.footfalls.toe_m[2]`."""
    return "".join(f"/{part}" for part in re.findall(r"[^.\[\]]+", path))


def _escape(name: str) -> str:
    return name.replace("~", "~0").replace("/", "~1")
