"""Read bodies strictly: JSON with finite numbers and no key twice, tables, no endless body."""

import csv
import io
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import IO, Any

from rest_framework import parsers

from common.api.problems import BodyTooLargeError, InvalidJsonError
from common.errors import UnreadableBodyError

MAX_BODY_BYTES = 1024 * 1024
_HALF_PAIR = re.compile(rb"\\u[dD][89a-fA-F]")


class StrictJSONParser(parsers.BaseParser):
    """Parse a JSON body (RFC 8259), refusing what Python's parser would let through.

    None of the framework's own JSON parsers: for those it reads the body itself, and refuses one
    that is too large for a form with an error that is no answer.
    """

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        return read_json(_read(stream))


@dataclass(frozen=True, slots=True)
class Table:
    """A table as it was sent: the names of its columns, and each line with its number."""

    header: tuple[str, ...]
    lines: tuple[tuple[int, tuple[str, ...]], ...]


class TableParser(parsers.BaseParser):
    """Parse a small table of comma-separated values (RFC 4180) in UTF-8."""

    media_type = "text/csv"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        return read_table(_read(stream))


def read_table(raw: bytes) -> Table:
    """Return the lines of a table; blank lines are none, and a byte order mark is nothing.

    Raises
    ------
    UnreadableBodyError
        It is not UTF-8, has no header, or a quote stands where none may.
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnreadableBodyError(f"The table is not UTF-8 (byte {error.start}).") from error
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    lines: list[tuple[int, tuple[str, ...]]] = []
    before = 0
    try:
        for cells in reader:
            if cells:
                lines.append((before + 1, tuple(cells)))
            before = reader.line_num
    except csv.Error as error:
        raise UnreadableBodyError(f"Line {before + 1}: {error}.") from error
    if not lines:
        raise UnreadableBodyError("The table has no header.")
    return Table(header=lines[0][1], lines=tuple(lines[1:]))


def _read(stream: IO[Any]) -> bytes:
    raw: bytes = stream.read(MAX_BODY_BYTES + 1)
    if len(raw) > MAX_BODY_BYTES:
        raise BodyTooLargeError(f"A body has at most {MAX_BODY_BYTES} bytes here.")
    return raw


def read_json(raw: bytes) -> Any:
    """Return what a strict JSON text says.

    Raises
    ------
    InvalidJsonError
        It is no JSON, not UTF-8, nested too deeply, holds a number that is not finite or half a
        surrogate pair, or names a key twice.
    """
    try:
        parsed = json.loads(
            raw.decode("utf-8"),
            parse_constant=_refuse_constant,
            parse_float=_finite,
            object_pairs_hook=_once_each,
        )
    except UnicodeDecodeError as error:
        raise InvalidJsonError(f"The body is not UTF-8 (byte {error.start}).") from error
    except json.JSONDecodeError as error:
        raise InvalidJsonError(
            f"{error.msg} (line {error.lineno}, column {error.colno})."
        ) from error
    except RecursionError as error:
        raise InvalidJsonError("The body is nested too deeply.") from error
    except ValueError as error:  # an integer with too many digits
        raise InvalidJsonError("A number is too long.") from error
    if _HALF_PAIR.search(raw):
        _refuse_half_pairs(parsed)
    return parsed


def _refuse_half_pairs(parsed: Any) -> None:
    """Refuse a lone ``"\\ud800"``: it is no character, and no answer could repeat it."""
    try:
        json.dumps(parsed, ensure_ascii=False).encode()
    except UnicodeEncodeError as error:
        raise InvalidJsonError("A text holds half a surrogate pair.") from error


def _refuse_constant(name: str) -> float:
    raise InvalidJsonError(f"{name} is no JSON number.")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise InvalidJsonError(f"{text[:20]} is too large a number.")
    return value


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    named = dict(pairs)
    if len(named) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise InvalidJsonError(f"The key {twice[:40]!r} stands twice in one object.")
    return named
