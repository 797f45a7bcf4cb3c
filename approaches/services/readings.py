"""What a push sends, row by row, and what is wrong with a row that cannot be read."""

import re
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Annotated, Generic, Literal, Protocol, TypeVar, get_args

import msgspec

from approaches.services import tables
from approaches.services.limits import find_oversize
from common import texts
from common.errors import Fault, pointer_part

# Text without control characters: the database cannot hold a NUL, and people cannot see the rest.
Text = Annotated[str, msgspec.Meta(min_length=1, max_length=64, pattern=texts.NOT_EMPTY_LINE)]
Metres = list[float | None]
Seconds = list[float | None]
Contact = Literal["ball", "flat", "heel"]
Finish = Literal["run_through", "pop_up", "jump"]
Judged = Literal["valid", "no_jump", "baulk", "not_judged"]
Part = Literal["acceleration", "transition", "attack"]


class Footfalls(msgspec.Struct, forbid_unknown_fields=True, frozen=True, gc=False):
    """Footfalls from take-off back: where the toe was, when it came and left, what touched."""

    toe_m: Metres | None = None
    touchdown_s: Seconds | None = None
    toe_off_s: Seconds | None = None
    contact: list[Contact | None] | None = None


class Gates(msgspec.Struct, forbid_unknown_fields=True, frozen=True, gc=False):
    """Timing gates in the order in which they were passed, on the footfalls' clock."""

    at_m: list[float]
    time_s: list[float]


class Measured(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True, gc=False):
    """What is known of one attempt, whoever noted it."""

    athlete: Text
    approach: Text
    started_at: Annotated[datetime, msgspec.Meta(tz=True)]
    finish: Finish
    phases: list[Part] | None = None
    start_mark_m: float | None = None
    wind_mps: float | None = None
    outcome: Judged = "not_judged"
    take_off_foot_ok: bool | None = None
    official_m: Decimal | None = None
    footfalls: Footfalls | None = None
    gates: Gates | None = None


class Reading(Measured, forbid_unknown_fields=True, frozen=True, kw_only=True, gc=False):
    """One attempt as a source sends it."""

    external_id: Text
    session: Text


class Sent(Protocol):
    """What a row is read as; its sender knows it by an id."""

    @property
    def external_id(self) -> str: ...


SentT_co = TypeVar("SentT_co", bound=Sent, covariant=True)
SentT = TypeVar("SentT", bound=Sent)


@dataclass(frozen=True, slots=True)
class Row(Generic[SentT_co]):
    """A row of a push: where it stood, and what it says or what is wrong with it."""

    index: int
    line: int | None
    raw: bytes | msgspec.Raw  # a part of the body, copied only when it is kept
    reading: SentT_co | None
    fault: Fault | None
    external_id: str


class Shape(Generic[SentT]):
    """A kind of rows: how one is read, and the columns that it has in a table."""

    def __init__(self, sent: type[SentT], columns: tables.Columns) -> None:
        self.one = msgspec.json.Decoder(sent)
        self.many = msgspec.json.Decoder(list[sent])  # type: ignore[valid-type]  # a type made now
        self.columns = columns


ATTEMPTS = Shape(
    Reading,
    tables.Columns(
        fields={
            "external_id": tables.text,
            "athlete": tables.text,
            "approach": tables.text,
            "session": tables.text,
            "started_at": tables.text,
            "finish": tables.text,
            "start_mark_m": tables.number,
            "wind_mps": tables.number,
            "outcome": tables.text,
            "take_off_foot_ok": tables.yes_or_no,
            "official_m": tables.decimal,
        },
        required=("external_id", "athlete", "approach", "session", "started_at", "finish"),
        arrays={
            "phases": tables.Array("phases", tables.text, most=3),
            "toe_m": tables.Array("toe_m", tables.number, most=40, within="footfalls"),
            "touchdown_s": tables.Array("touchdown_s", tables.number, most=40, within="footfalls"),
            "toe_off_s": tables.Array("toe_off_s", tables.number, most=40, within="footfalls"),
            "contact": tables.Array("contact", tables.text, most=40, within="footfalls"),
            "gate_at_m": tables.Array("at_m", tables.number, most=40, within="gates"),
            "gate_time_s": tables.Array("time_s", tables.number, most=40, within="gates"),
        },
    ),
)


class _Named(msgspec.Struct):
    external_id: Text = ""


_named = msgspec.json.Decoder(_Named)


def read_row(
    raw: bytes, shape: Shape[SentT], *, index: int = 0, line: int | None = None
) -> Row[SentT]:
    """Return one row, whether it can be read or not."""
    fault = find_oversize(raw)
    if fault is not None:
        return Row(index, line, raw, None, fault, "")
    try:
        reading = shape.one.decode(raw)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        return Row(index, line, raw, None, fault_of(error), external_id_of(raw))
    return Row(index, line, raw, reading, None, reading.external_id)


def external_id_of(raw: bytes) -> str:
    """Return the id of a row that cannot be read as a whole, so that its sender finds it."""
    try:
        return _named.decode(raw).external_id
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return ""


# msgspec says what is wrong in words that end with a JSON path; codes and words are ours. Only how
# its words begin counts, since what follows repeats what was sent.
_CODES = (
    ("Object contains unknown field", "unknown_field"),
    ("Object missing required field", "required"),
    ("Expected `datetime` with a timezone", "time_without_zone"),
    ("Invalid RFC3339", "not_a_time"),
    ("Number out of range", "number_out_of_range"),
    ("Invalid enum value", "unknown_value"),
    ("Expected `str` matching regex", "control_character"),
    ("Expected `str` of length", "wrong_length"),
    ("Invalid decimal", "not_a_number"),
    ("Expected", "wrong_type"),
)
_WORDS = {
    "unknown_field": "There is no such field.",
    "required": "This field is missing.",
    "time_without_zone": "The time lacks its offset from UTC: 2026-05-02T09:14:07+02:00 has one.",
    "not_a_time": "A time is written as 2026-05-02T09:14:07+02:00.",
    "number_out_of_range": "The number is too large.",
    "control_character": "A text has no control characters, and no signs that nobody sees.",
    "wrong_length": "A text has 1 to 64 characters.",
    "not_a_number": "A number is written as 5.61, with a point and without a unit.",
}
_VALUES = {
    "contact": get_args(Contact),
    "finish": get_args(Finish),
    "outcome": get_args(Judged),
    "phases": get_args(Part),
}
_FIELD = re.compile(r"field `(.*?)`(?: - at `|$)", re.DOTALL)
_PATH = re.compile(r" - at `\$(.*)`$")
_TYPES = re.compile(r"Expected `([a-z0-9 |]+)`, got `([a-z0-9]+)`")
_TYPE_WORDS = {
    "array": "a list",
    "bool": "true or false",
    "datetime": "a time as text",
    "decimal": "a number",
    "float": "a number",
    "int": "a number",
    "null": "null",
    "object": "an object",
    "str": "a text",
}


def fault_of(error: Exception) -> Fault:
    """Return what is wrong with what was sent, in our codes."""
    if isinstance(error, RecursionError):
        return Fault("", "nested_too_deeply", "The row is nested too deeply.")
    if isinstance(error, UnicodeDecodeError):
        return Fault("", "not_utf8", "A text of the row is not UTF-8.")
    if not isinstance(error, msgspec.ValidationError):
        return Fault("", "not_json", f"The row is no JSON object: {error}.")
    message = str(error)
    path = _PATH.search(message)
    pointer = _pointer("" if path is None else path.group(1))
    code = next((code for words, code in _CODES if message.startswith(words)), "wrong_type")
    field = _FIELD.search(message)
    if code in {"unknown_field", "required"} and field is not None:
        pointer = f"{pointer}/{pointer_part(field.group(1))}"
    return Fault(pointer[:200], code, _words_of(code, pointer, message))


def _words_of(code: str, pointer: str, message: str) -> str:
    """Return what the sender has to put right."""
    if code == "unknown_value":
        field = next(part for part in reversed(pointer.split("/")) if not part.isdigit())
        return f"One of {', '.join(_VALUES[field])} is expected."
    types = _TYPES.match(message)
    if types is None or code != "wrong_type":
        return _WORDS.get(code, "The value is of another type.")
    wanted = dict.fromkeys(_TYPE_WORDS[each] for each in types[1].split(" | "))
    return f"Expected is {' or '.join(wanted)}, not {_TYPE_WORDS[types[2]]}."


def _pointer(path: str) -> str:
    """Return the JSON pointer of a path such as `.footfalls.toe_m[2]`."""
    return "".join(f"/{part}" for part in re.findall(r"[^.\[\]]+", path))
