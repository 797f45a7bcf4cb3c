"""What timing gates send of one run, and the rules that it must keep."""

import hashlib
import struct
from collections.abc import Sequence
from datetime import datetime
from typing import Annotated
from uuid import UUID

import msgspec
import numpy as np

from approaches.services import encoding, tables
from approaches.services.arrays import columns_of
from approaches.services.checking import check_readings
from approaches.services.readings import Gates, Reading, Shape, Text
from common.errors import Fault

FINGERPRINT_VERSION = 1


class GateTimes(
    msgspec.Struct,
    forbid_unknown_fields=True,
    omit_defaults=True,
    frozen=True,
    kw_only=True,
    gc=False,
):
    """One run through timing gates as a source sends it: where they stood, and when it passed."""

    external_id: Text
    athlete: Text | None = None
    attempt_external_id: Text | None = None
    started_at: Annotated[datetime, msgspec.Meta(tz=True)]
    at_m: list[float]
    time_s: list[float]


GATE_RUNS = Shape(
    GateTimes,
    tables.Columns(
        fields={
            "external_id": tables.text,
            "athlete": tables.text,
            "attempt_external_id": tables.text,
            "started_at": tables.text,
        },
        required=("external_id", "started_at"),
        arrays={
            "at_m": tables.Array("at_m", tables.number, most=40),
            "time_s": tables.Array("time_s", tables.number, most=40),
        },
    ),
)


def check_gate_times(sent: Sequence[GateTimes]) -> dict[int, list[Fault]]:
    """Return the faults of each run that breaks a rule, by its index.

    The rules are those of an attempt of which nothing but its gates is known.
    """
    readings = [_as_reading(each) for each in sent]
    faults = {
        place: [
            Fault(fault.pointer.removeprefix("/gates"), fault.code, fault.detail) for fault in found
        ]
        for place, found in check_readings(readings, columns_of(readings)).items()
    }
    for place, each in enumerate(sent):
        if not each.at_m and place not in faults:
            faults[place] = [Fault("/at_m", "no_gates", "A gate run has at least one gate.")]
    return faults


def _as_reading(sent: GateTimes) -> Reading:
    return Reading(
        external_id=sent.external_id,
        athlete="",
        approach="",
        session="",
        started_at=sent.started_at,
        finish="run_through",
        gates=Gates(at_m=sent.at_m, time_s=sent.time_s),
    )


def fingerprint(sent: GateTimes, athlete_id: UUID | None) -> bytes:
    """Return the versioned fingerprint of a run: what "the same content" means, as for attempts."""
    name = (sent.attempt_external_id or "").encode()
    at_m, time_s = (np.array(values, dtype=np.float64) + 0.0 for values in (sent.at_m, sent.time_s))
    # Each part has a fixed length or its length in front, so that no two contents run together.
    parts = [
        bytes(16) if athlete_id is None else athlete_id.bytes,
        struct.pack("!q", encoding.microseconds(sent.started_at)),
        struct.pack("!ii", len(name), len(at_m)),
        name,
        at_m.tobytes(),
        time_s.tobytes(),
    ]
    digest = hashlib.blake2b(b"".join(parts), digest_size=16).digest()
    return bytes([FINGERPRINT_VERSION]) + digest
