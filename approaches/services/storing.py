"""Write checked readings: each once, with what must be computed again, in one transaction."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import connection, transaction

from approaches import signals
from approaches.models import CLASS_OF_FINISH, Attempt, Finish
from approaches.services import encoding, recording
from approaches.services import stored as reading_back
from approaches.services.arrays import Columns
from approaches.services.readings import Reading
from approaches.services.recording import Stored
from approaches.services.resolving import Resolved
from clubs.models import Club
from common import prepared

# One staging table a connection, emptied at each commit: making and dropping one each time bloats
# the catalogue. The name carries a version, because a connection may outlive a release.
_STAGE = "pushed_attempts_1"
_STAGE_COLUMNS = ", ".join(f"{name} {kind}" for name, kind in encoding.COLUMNS)
# The second statement serves a second push in one transaction; on an empty table it costs nothing.
_MAKE_STAGE = f"""
    CREATE TEMPORARY TABLE IF NOT EXISTS {_STAGE} ({_STAGE_COLUMNS}) ON COMMIT DELETE ROWS;
    DELETE FROM {_STAGE};
"""
_COPY = f"COPY {_STAGE} FROM STDIN (FORMAT binary)"

_OWN = [name for name, _ in encoding.COLUMNS if name not in {"place", "official_m"}]
# Rows go in by natural key and pending refreshes by series: two clients that send the same ids in
# opposite order would otherwise wait for each other for ever.
_INSERT = f"""
    INSERT INTO approaches_attempt (club_id, source_id, version, official_m, {", ".join(_OWN)})
    SELECT %s, %s, 1, official_m::numeric(4, 2), {", ".join(_OWN)}
      FROM {{}} ORDER BY external_id
    ON CONFLICT (club_id, source_id, external_id) DO NOTHING
    RETURNING external_id, id
"""
_INSERT_STAGED = _INSERT.format(_STAGE)
# A single row travels in the statement itself, which the server keeps prepared.
_VALUES = ", ".join(f"%s::{kind}" for _, kind in encoding.COLUMNS)
_INSERT_ONE = _INSERT.format(
    f"(VALUES ({_VALUES})) AS pushed ({', '.join(name for name, _ in encoding.COLUMNS)})"
)
_STORED = """
    SELECT external_id, id, fingerprint, version > 1 FROM approaches_attempt
     WHERE club_id = %s AND source_id = %s AND external_id = ANY(%s)
"""
_PENDING = """
    INSERT INTO approaches_pendingrefresh (club_id, approach_id, finish_class, first_changed_at,
                                           revision, failures, last_error)
    SELECT %s, approach_id, finish_class, first_changed_at, 1, 0, ''
      FROM unnest(%s::uuid[], %s::text[], %s::timestamptz[])
           AS changed (approach_id, finish_class, first_changed_at)
     ORDER BY approach_id, finish_class
    ON CONFLICT (club_id, approach_id, finish_class) DO UPDATE
       SET revision = approaches_pendingrefresh.revision + 1,
           first_changed_at = LEAST(approaches_pendingrefresh.first_changed_at,
                                    EXCLUDED.first_changed_at)
"""

Series = tuple[UUID, str]


def store_readings(
    *,
    club: Club,
    source_id: UUID,
    readings: Sequence[Reading],
    resolved: Sequence[Resolved | None],
    columns: Columns,
) -> Stored:
    """Store the readings that are resolved and not stored yet; call it inside the club's scope."""
    fingerprints = encoding.fingerprint_readings(readings, resolved, columns)
    first_of: dict[str, int] = {}
    for place, meant in enumerate(resolved):
        if meant is not None:
            first_of.setdefault(readings[place].external_id, place)
    rows = [row for row in resolved if row is not None]
    if not rows:
        return Stored({}, frozenset(), frozenset(), frozenset())
    filled = [rows[0] if row is None else row for row in resolved]
    places = list(first_of.values())
    key = (club.id, source_id)
    if len(places) == 1:
        (place,) = places
        values = encoding.values_of_row(
            readings[place], filled[place], columns, fingerprints[place], place
        )
        new_ids = dict(prepared.read_rows(_INSERT_ONE, [*key, *values], make=_columns))
    else:
        stream = encoding.encode_rows(readings, filled, columns, fingerprints, places)
        new_ids = _insert_staged(key, stream)
    earlier = [external_id for external_id in first_of if external_id not in new_ids]
    old: dict[str, tuple[UUID, bytes]] = {}
    if earlier:
        found = prepared.read_rows(_STORED, [*key, earlier], make=_columns)
        sent = {name: fingerprints[place] for name, place in first_of.items()}
        old = _as_sent_or_as_now(found, sent)
    stored = recording.place_twins(
        [
            None if meant is None else reading.external_id
            for reading, meant in zip(readings, resolved, strict=True)
        ],
        fingerprints,
        new_ids=new_ids,
        old=old,
    )
    _note_changes(club, [(readings[place], filled[place]) for place in stored.created])
    return stored


def _as_sent_or_as_now(
    found: Iterable[tuple[str, UUID, bytes, bool]], sent: Mapping[str, bytes]
) -> dict[str, tuple[UUID, bytes]]:
    """Return for each stored attempt its id and what counts as the same content.

    That is what its source sent, for ever. Where it was corrected since, or got gates, somebody may
    also have read it as it is now, and sent that: then it is this.
    """
    old: dict[str, tuple[UUID, bytes]] = {}
    changed: list[UUID] = []
    for external_id, attempt_id, kept, was_changed in found:
        old[external_id] = (attempt_id, bytes(kept))
        if was_changed and kept != sent[external_id]:
            changed.append(attempt_id)
    if changed:
        attempts = list(Attempt.objects.filter(id__in=changed))
        for attempt, now in zip(attempts, reading_back.fingerprints_of(attempts), strict=True):
            if now == sent[attempt.external_id]:
                old[attempt.external_id] = (attempt.id, now)
    return old


def _insert_staged(key: tuple[UUID, UUID], stream: bytes) -> dict[str, UUID]:
    """Insert the rows of a COPY stream, and return the ids of the new ones by external id."""
    with connection.cursor() as cursor:
        cursor.execute(_MAKE_STAGE)
        with cursor.copy(_COPY) as copy:
            copy.write(stream)
        cursor.execute(_INSERT_STAGED, list(key))
        return dict(cursor.fetchall())


def _columns(*columns: Any) -> tuple[Any, ...]:
    return columns


def _note_changes(club: Club, stored: Iterable[tuple[Reading, Resolved]]) -> None:
    """Write down which series must be computed again, and wake the workers after commit."""
    first_changed: dict[Series, datetime] = {}
    for reading, meant in stored:
        if meant.left_out is None:
            series = (meant.approach_id, CLASS_OF_FINISH[Finish(reading.finish)].value)
            since = first_changed.get(series, reading.started_at)
            first_changed[series] = min(since, reading.started_at)
    mark_changed(club=club, first_changed=first_changed)


def mark_attempts_changed(*, club: Club, attempts: Iterable[Attempt]) -> None:
    """Queue the series of stored attempts, each from its first one on; call it in the scope."""
    first_changed: dict[Series, datetime] = {}
    for attempt in attempts:
        series = series_of(attempt)
        if series is not None:
            since = first_changed.get(series, attempt.started_at)
            first_changed[series] = min(since, attempt.started_at)
    mark_changed(club=club, first_changed=first_changed)


def series_of(attempt: Attempt) -> Series | None:
    """Return the series that an attempt belongs to, or None when it is left out."""
    if attempt.left_out is not None:
        return None
    return attempt.approach_id, CLASS_OF_FINISH[Finish(attempt.finish)].value


def mark_changed(*, club: Club, first_changed: dict[Series, datetime]) -> None:
    """Queue the series for a refresh from the given moments on; call it in the club's scope."""
    if not first_changed:
        return
    series = sorted(first_changed)
    prepared.write(
        _PENDING,
        [
            club.id,
            [approach_id for approach_id, _ in series],
            [finish_class for _, finish_class in series],
            [first_changed[each] for each in series],
        ],
    )
    transaction.on_commit(
        lambda: signals.attempts_changed.send(sender=None, club_id=club.id, series=series)
    )
