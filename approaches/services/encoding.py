"""Readings as the bytes that PostgreSQL's binary COPY takes, and as fingerprints.

Arrays of numbers are encoded by NumPy, a whole batch at once: one by one they would cost more
than all the rest of a push.
"""

import hashlib
import struct
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import lru_cache
from itertools import pairwise
from uuid import UUID

import numpy as np

from approaches.services.arrays import Columns, Ragged
from approaches.services.checking import ALL_PHASES
from approaches.services.readings import Reading
from approaches.services.resolving import Resolved

HEADER = b"PGCOPY\n\xff\r\n\0" + bytes(8)
TRAILER = b"\xff\xff"

FINGERPRINT_VERSION = 1

_FLOAT8_OID, _TEXT_OID = 701, 25
_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
_NULL = struct.pack("!i", -1)
_ELEMENT = np.dtype([("length", ">i4"), ("value", ">f8")])
_SIZE = _ELEMENT.itemsize

# The columns of the staging table, in the order in which `encode_rows` gives them.
COLUMNS = (
    ("place", "int4"),
    ("external_id", "text"),
    ("athlete_id", "uuid"),
    ("approach_id", "uuid"),
    ("plan_id", "uuid"),
    ("session_id", "uuid"),
    ("started_at", "timestamptz"),
    ("finish", "text"),
    ("phases", "text[]"),
    ("start_mark_m", "float8"),
    ("wind_mps", "float8"),
    ("outcome", "text"),
    ("take_off_foot_ok", "bool"),
    ("official_m", "text"),
    ("toe_m", "float8[]"),
    ("touchdown_s", "float8[]"),
    ("toe_off_s", "float8[]"),
    ("contact", "text[]"),
    ("gate_at_m", "float8[]"),
    ("gate_time_s", "float8[]"),
    ("left_out", "text"),
    ("fingerprint", "bytea"),
)
_COUNT = struct.pack("!h", len(COLUMNS))


def encode_rows(
    readings: Sequence[Reading],
    resolved: Sequence[Resolved],
    columns: Columns,
    fingerprints: Sequence[bytes],
    places: Sequence[int],
) -> bytes:
    """Return the batch as one binary COPY stream; `places` are the rows of `columns` to take."""
    toe_m = _float_arrays(columns.toe_m)
    touchdown_s = _float_arrays(columns.touchdown_s)
    toe_off_s = _float_arrays(columns.toe_off_s)
    gate_at_m = _float_arrays(columns.gate_at_m)
    gate_time_s = _float_arrays(columns.gate_time_s)
    parts = [HEADER]
    for place in places:
        reading, meant = readings[place], resolved[place]
        parts += (
            _COUNT,
            struct.pack("!ii", 4, place),
            _text(reading.external_id),
            _uuid(meant.athlete_id),
            _uuid(meant.approach_id),
            _NULL if meant.plan_id is None else _uuid(meant.plan_id),
            _uuid(meant.session_id),
            struct.pack("!iq", 8, microseconds(reading.started_at)),
            _text(reading.finish),
            _text_array(phases_of(reading)),
            _float(reading.start_mark_m),
            _float(reading.wind_mps),
            _text(reading.outcome),
            _bool(reading.take_off_foot_ok),
            _NULL if reading.official_m is None else _text(str(reading.official_m)),
            toe_m[place],
            touchdown_s[place],
            toe_off_s[place],
            _text_array(columns.contacts[place]),
            gate_at_m[place],
            gate_time_s[place],
            _NULL if meant.left_out is None else _text(meant.left_out),
            struct.pack("!i", len(fingerprints[place])),
            fingerprints[place],
        )
    parts.append(TRAILER)
    return b"".join(parts)


def values_of_row(
    reading: Reading, meant: Resolved, columns: Columns, fingerprint: bytes, place: int
) -> list[object]:
    """Return one row as the parameters of a statement, in the order of `COLUMNS`."""

    def floats(array: Ragged) -> str:
        # As text: the driver takes three times as long for a list. The shortest digits that mean
        # the same float64 lose nothing.
        kept = array.values[array.starts[place] : array.starts[place + 1]].tolist()
        return f"{{{','.join(map(repr, kept))}}}"

    return [
        place,
        reading.external_id,
        meant.athlete_id,
        meant.approach_id,
        meant.plan_id,
        meant.session_id,
        reading.started_at,
        reading.finish,
        list(phases_of(reading)),
        _without_sign(reading.start_mark_m),
        _without_sign(reading.wind_mps),
        reading.outcome,
        reading.take_off_foot_ok,
        None if reading.official_m is None else str(reading.official_m),
        floats(columns.toe_m),
        floats(columns.touchdown_s),
        floats(columns.toe_off_s),
        list(columns.contacts[place]),
        floats(columns.gate_at_m),
        floats(columns.gate_time_s),
        meant.left_out,
        fingerprint,
    ]


def fingerprint_readings(
    readings: Sequence[Reading], resolved: Sequence[Resolved | None], columns: Columns
) -> list[bytes]:
    """Return the versioned fingerprint of each reading: what "the same content" means.

    It is taken of the parsed values, so that key order, time offsets, absent and null fields, and
    the ways to name an athlete make no difference. What the service decided itself (the plan,
    whether the attempt is left out) is no part of it.
    """
    ragged = (
        columns.toe_m,
        columns.touchdown_s,
        columns.toe_off_s,
        columns.gate_at_m,
        columns.gate_time_s,
    )
    stretches = [(each.values.tobytes(), (each.starts * 8).tolist()) for each in ragged]
    version = bytes([FINGERPRINT_VERSION])
    fingerprints = []
    for place, (reading, meant) in enumerate(zip(readings, resolved, strict=True)):
        if meant is None:
            fingerprints.append(b"")
            continue
        official = reading.official_m
        words = (
            f"{reading.finish}|{','.join(phases_of(reading))}|{reading.outcome}"
            f"|{reading.take_off_foot_ok}|{None if official is None else f'{official:.2f}'}"
        )
        # Each part has a fixed length or its length in front, so that no two contents run together.
        parts = [
            meant.approach_id.bytes,
            meant.session_id.bytes,
            struct.pack("!q", microseconds(reading.started_at)),
            _float(reading.start_mark_m),
            _float(reading.wind_mps),
            _text(words),
            _text_array(columns.contacts[place]),
        ]
        for values, starts in stretches:
            start, end = starts[place], starts[place + 1]
            parts += (struct.pack("!i", end - start), values[start:end])
        digest = hashlib.blake2b(b"".join(parts), digest_size=16).digest()
        fingerprints.append(version + digest)
    return fingerprints


def phases_of(reading: Reading) -> tuple[str, ...]:
    """Return the phases that were run: all of them unless the reading says otherwise."""
    return ALL_PHASES if reading.phases is None else tuple(reading.phases)


def microseconds(moment: datetime) -> int:
    """Return PostgreSQL's timestamptz: microseconds since 2000-01-01 UTC, exactly."""
    since = moment - _EPOCH
    return (since.days * 86_400 + since.seconds) * 1_000_000 + since.microseconds


def _text(value: str) -> bytes:
    raw = value.encode()
    return struct.pack("!i", len(raw)) + raw


def _uuid(value: UUID) -> bytes:
    return b"\0\0\0\x10" + value.bytes


def _float(value: float | None) -> bytes:
    return _NULL if value is None else struct.pack("!id", 8, value + 0.0)


def _without_sign(value: float | None) -> float | None:
    """Return -0.0 as 0.0, as everywhere here."""
    return None if value is None else value + 0.0


def _bool(value: bool | None) -> bytes:
    return _NULL if value is None else struct.pack("!i?", 1, value)


@lru_cache(maxsize=4096)
def _text_array(values: tuple[str | None, ...]) -> bytes:
    if not values:
        body = struct.pack("!iii", 0, 0, _TEXT_OID)
    else:
        has_null = int(None in values)
        body = struct.pack("!iiiii", 1, has_null, _TEXT_OID, len(values), 1) + b"".join(
            _NULL if value is None else _text(value) for value in values
        )
    return struct.pack("!i", len(body)) + body


@lru_cache(maxsize=256)
def _float_array_head(count: int) -> bytes:
    if count == 0:
        return struct.pack("!iiii", 12, 0, 0, _FLOAT8_OID)
    return struct.pack("!iiiiii", 20 + count * _SIZE, 1, 0, _FLOAT8_OID, count, 1)


def _float_arrays(ragged: Ragged) -> list[bytes]:
    """Return each array of a column as COPY wants it; NaN stands for what was not measured."""
    elements = np.empty(len(ragged.values), dtype=_ELEMENT)
    elements["length"] = 8
    elements["value"] = ragged.values
    stream = elements.tobytes()
    starts = ragged.starts.tolist()
    return [
        _float_array_head(end - start) + stream[start * _SIZE : end * _SIZE]
        for start, end in pairwise(starts)
    ]
