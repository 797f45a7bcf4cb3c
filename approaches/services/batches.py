"""Bodies of many rows: a JSON array, newline-delimited JSON, or a table."""

import io
import re
from collections.abc import Iterator, Sequence

import msgspec

from approaches.services import tables
from approaches.services.limits import MAX_COMMAS_AT_ONCE, MAX_ROW_BYTES, MAX_ROWS, check_count
from approaches.services.readings import Row, SentT, Shape, external_id_of, read_row
from common.errors import UnreadableBodyError

# What some editors and spreadsheets put before UTF-8. It says nothing, and RFC 8259 (section 8.1)
# lets a reader ignore it, so it may stand before any body.
BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_JSON_SPACE = b" \t\r\n"

_raw_batch = msgspec.json.Decoder(list[msgspec.Raw])


def read_one(body: bytes, shape: Shape[SentT]) -> Row[SentT]:
    """Return the row that a whole body is."""
    return read_row(body.removeprefix(BYTE_ORDER_MARK), shape)


def read_json_batch(body: bytes, shape: Shape[SentT]) -> list[Row[SentT]]:
    """Return the rows of a JSON array.

    Raises
    ------
    UnreadableBodyError
        The body is no JSON array.
    TooManyRowsError
        It has more than `MAX_ROWS` items.
    """
    body = body.removeprefix(BYTE_ORDER_MARK)
    at_once = body.count(b",") <= MAX_COMMAS_AT_ONCE
    if not at_once:
        check_count(_count_items(body))
    try:
        raws = _raw_batch.decode(body)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise UnreadableBodyError(_explain(error)) from error
    check_count(len(raws))
    if at_once and max(map(len, raws), default=0) <= MAX_ROW_BYTES:
        readings = _decode_all(body, shape)
        if readings is not None:
            return [
                Row(index, None, raw, reading, None, reading.external_id)
                for index, (raw, reading) in enumerate(zip(raws, readings, strict=True))
            ]
    return [read_row(bytes(raw), shape, index=index) for index, raw in enumerate(raws)]


def read_ndjson_batch(body: bytes, shape: Shape[SentT]) -> list[Row[SentT]]:
    """Return the rows of newline-delimited JSON; a broken line is a refused row, not a failure.

    Raises
    ------
    UnreadableBodyError
        The body is empty.
    TooManyRowsError
        It has more than `MAX_ROWS` lines that are not blank.
    """
    rows: list[Row[SentT]] = []
    for number, line in _lines_of(body):
        raw = line.strip(_JSON_SPACE)
        if raw:
            rows.append(read_row(raw, shape, index=len(rows), line=number))
            check_count(len(rows))
    return rows


def read_csv_batch(body: bytes, shape: Shape[SentT]) -> list[Row[SentT]]:
    """Return the rows of a table; each is kept as the JSON object that it stands for.

    Raises
    ------
    UnreadableBodyError
        The body is no table.
    InvalidColumnsError
        Its header has other columns than the shape.
    TooManyRowsError
        It has more than `MAX_ROWS` lines below the header.
    """
    rows: list[Row[SentT]] = []
    for line, raw, fault in tables.read_records(_lines_of(body), shape.columns):
        rows.append(
            read_row(raw, shape, index=len(rows), line=line)
            if fault is None
            else Row(len(rows), line, raw, None, fault, external_id_of(raw))
        )
        check_count(len(rows))
    return rows


def _lines_of(body: bytes) -> Iterator[tuple[int, bytes]]:
    """Return the lines and their numbers, one after the other, so that few are held at a time."""
    if not body:
        # Something got lost on the way: even a file without rows has a line.
        raise UnreadableBodyError("The body is empty.")
    return enumerate(io.BytesIO(body.removeprefix(BYTE_ORDER_MARK)), 1)


_TOKEN = re.compile(rb'"[^"\\]*(?:\\.[^"\\]*)*"|[][{},]', re.DOTALL)


def _count_items(body: bytes) -> int:
    """Return how many items an array seems to have, keeping none and stopping at one too many."""
    depth, items = 0, 1
    for token in _TOKEN.finditer(body):
        sign = token[0]
        if sign in (b"[", b"{"):
            depth += 1
        elif sign in (b"]", b"}"):
            depth -= 1
        elif sign == b"," and depth == 1:
            items += 1
            if items > MAX_ROWS:
                break
    return items


def _decode_all(body: bytes, shape: Shape[SentT]) -> Sequence[SentT] | None:
    """Return every reading in one go, which is much faster, or None when some row is bad."""
    try:
        return shape.many.decode(body)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return None


def _explain(error: Exception) -> str:
    if isinstance(error, RecursionError):
        return "The body is nested too deeply."
    if isinstance(error, UnicodeDecodeError):
        return "The body is not UTF-8."
    return f"The body is no JSON array: {error}."
