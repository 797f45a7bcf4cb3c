"""A stored attempt read back as the reading that it is, so that the rules of a push judge it."""

import math
from collections.abc import Sequence
from typing import Any, TypeVar

import msgspec

from approaches.models import Attempt
from approaches.services import encoding
from approaches.services.arrays import Columns, columns_of
from approaches.services.readings import Gates, Reading
from approaches.services.resolving import Resolved

Value = TypeVar("Value")

# The columns of an attempt that a correction may change, by the names that the API gives them.
WIRE_NAMES = {
    "athlete_id": "athlete",
    "approach_id": "approach",
    "plan_id": "plan",
    "session_id": "session",
    "toe_m": "footfalls.toe_m",
    "touchdown_s": "footfalls.touchdown_s",
    "toe_off_s": "footfalls.toe_off_s",
    "contact": "footfalls.contact",
    "gate_at_m": "gates.at_m",
    "gate_time_s": "gates.time_s",
}


def reading_of(attempt: Attempt) -> Reading:
    """Return what a source would send to have the attempt stored as it is; names are ids."""
    # Stored values were checked when they came, which types in the database cannot say.
    return msgspec.convert(
        {
            "external_id": attempt.external_id,
            "athlete": str(attempt.athlete_id),
            "approach": str(attempt.approach_id),
            "session": str(attempt.session_id),
            "started_at": attempt.started_at,
            "finish": attempt.finish,
            "phases": attempt.phases,
            "start_mark_m": attempt.start_mark_m,
            "wind_mps": attempt.wind_mps,
            "outcome": attempt.outcome,
            "take_off_foot_ok": attempt.take_off_foot_ok,
            "official_m": attempt.official_m,
            "footfalls": _footfalls_of(attempt),
            "gates": gates_of(attempt.gate_at_m, attempt.gate_time_s),
        },
        Reading,
    )


def fingerprints_of(attempts: Sequence[Attempt]) -> list[bytes]:
    """Return the fingerprint that each attempt would have if it were sent as it is now."""
    readings = [reading_of(attempt) for attempt in attempts]
    meant = [
        Resolved(
            athlete_id=attempt.athlete_id,
            approach_id=attempt.approach_id,
            session_id=attempt.session_id,
            plan_id=attempt.plan_id,
            left_out=attempt.left_out,
        )
        for attempt in attempts
    ]
    return encoding.fingerprint_readings(readings, meant, columns_of(readings))


def gates_of(at_m: Sequence[float], time_s: Sequence[float]) -> Gates | None:
    """Return gates as a source would send them, or None without any."""
    return Gates(at_m=list(at_m), time_s=list(time_s)) if at_m else None


def describe(attempt: Attempt) -> dict[str, Any]:
    """Return an attempt as it is kept of a former version: what was sent, and what was decided."""
    return {
        **msgspec.to_builtins(reading_of(attempt)),
        "plan": None if attempt.plan_id is None else str(attempt.plan_id),
        "left_out": attempt.left_out,
    }


def columns_for(
    reading: Reading, meant: Resolved, columns: Columns, phases: Sequence[str]
) -> dict[str, Any]:
    """Return the values of a stored attempt's columns for a reading at place 0 of `columns`."""
    return {
        "athlete_id": meant.athlete_id,
        "approach_id": meant.approach_id,
        "plan_id": meant.plan_id,
        "session_id": meant.session_id,
        "started_at": reading.started_at,
        "finish": reading.finish,
        "phases": list(phases),
        "start_mark_m": reading.start_mark_m,
        "wind_mps": reading.wind_mps,
        "outcome": reading.outcome,
        "take_off_foot_ok": reading.take_off_foot_ok,
        "official_m": reading.official_m,
        "toe_m": columns.toe_m.values.tolist(),
        "touchdown_s": columns.touchdown_s.values.tolist(),
        "toe_off_s": columns.toe_off_s.values.tolist(),
        "contact": list(columns.contacts[0]),
        "gate_at_m": columns.gate_at_m.values.tolist(),
        "gate_time_s": columns.gate_time_s.values.tolist(),
        "left_out": meant.left_out,
    }


def is_same(stored: Any, value: Any) -> bool:
    """Answer whether a column holds a value already; "not measured" is the same as itself."""
    if isinstance(stored, list) and isinstance(value, list):
        return len(stored) == len(value) and all(map(is_same, stored, value))
    if isinstance(stored, float) and isinstance(value, float) and math.isnan(stored):
        return math.isnan(value)
    return bool(stored == value)


def _footfalls_of(attempt: Attempt) -> dict[str, Any] | None:
    if not attempt.toe_m:
        return None
    return {
        "toe_m": _values_of(attempt.toe_m),
        "touchdown_s": _find_known(_values_of(attempt.touchdown_s)),
        "toe_off_s": _find_known(_values_of(attempt.toe_off_s)),
        "contact": _find_known(attempt.contact),
    }


def _values_of(values: Sequence[float]) -> list[float | None]:
    return [None if math.isnan(value) else value for value in values]


def _find_known(values: list[Value]) -> list[Value] | None:
    """Return the values, or None when none is known: "not sent" and "all unknown" are the same.

    So the other arrays may become longer, without this one being named.
    """
    return values if any(value is not None for value in values) else None
