"""What a correction sends, and the reading that it makes of a stored one.

A correction is a JSON Merge Patch (RFC 7396): what it does not name stays, null takes a value away,
an object is merged, and a list takes the whole place of the former one.
"""

from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any

import msgspec
from msgspec import UNSET, UnsetType

from approaches.services.readings import (
    Contact,
    Finish,
    Footfalls,
    Gates,
    Judged,
    Metres,
    Part,
    Reading,
    Seconds,
    Text,
)
from common import texts

LONGEST_REASON = 400
Reason = Annotated[
    str,
    msgspec.Meta(min_length=1, max_length=LONGEST_REASON, pattern=texts.NOT_EMPTY_LINES),
]


class FootfallChanges(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """Arrays of footfalls to change; one that is not named stays as it is."""

    toe_m: Metres | UnsetType | None = UNSET
    touchdown_s: Seconds | UnsetType | None = UNSET
    toe_off_s: Seconds | UnsetType | None = UNSET
    contact: list[Contact | None] | UnsetType | None = UNSET


class AttemptChanges(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """Fields of an attempt to change, named and written as in a push."""

    athlete: Text | UnsetType = UNSET
    approach: Text | UnsetType = UNSET
    session: Text | UnsetType = UNSET
    started_at: Annotated[datetime, msgspec.Meta(tz=True)] | UnsetType = UNSET
    finish: Finish | UnsetType = UNSET
    phases: list[Part] | UnsetType | None = UNSET
    start_mark_m: float | UnsetType | None = UNSET
    wind_mps: float | UnsetType | None = UNSET
    outcome: Judged | UnsetType = UNSET
    take_off_foot_ok: bool | UnsetType | None = UNSET
    official_m: Decimal | UnsetType | None = UNSET
    footfalls: FootfallChanges | UnsetType | None = UNSET
    gates: Gates | UnsetType | None = UNSET


class Correction(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """What is wrong with a stored attempt, and why it is changed."""

    changes: AttemptChanges
    reason: Reason


class Reasoned(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """Why something is done that cannot be seen from what it does."""

    reason: Reason


def apply_changes(reading: Reading, changes: AttemptChanges) -> Reading:
    """Return the reading that the changes make of another one."""
    fields = _named(changes)
    patch = fields.get("footfalls")
    if isinstance(patch, FootfallChanges):
        fields["footfalls"] = msgspec.structs.replace(
            reading.footfalls or Footfalls(), **_named(patch)
        )
    return msgspec.structs.replace(reading, **fields)


def _named(changes: msgspec.Struct) -> dict[str, Any]:
    return {
        name: value for name, value in msgspec.structs.asdict(changes).items() if value is not UNSET
    }
