"""Rows that were refused: kept raw for 30 days, until they are replayed or forgotten."""

import hashlib
from collections.abc import Iterable
from datetime import timedelta
from uuid import UUID

from django.db import connection
from django.utils import timezone

from approaches.models import QuarantinedRow, RowKind
from approaches.services.limits import MAX_ROW_BYTES
from approaches.services.readings import Row, Sent
from clubs import selectors as club_selectors
from clubs.models import Club
from common.club_scope import club_scope
from common.errors import Fault

KEPT_FOR = timedelta(days=30)

# The same text at another door is another row.
_PERSONS = {RowKind.ATTEMPT: b"", RowKind.GATE_RUN: b"gate run"}

_KEEP = """
    INSERT INTO approaches_quarantinedrow
           (club_id, source_id, kind, external_id, raw, raw_hash, code, pointer, detail,
            expires_at)
    SELECT %s, %s, %s, external_id, raw, raw_hash, code, pointer, detail, %s
      FROM unnest(%s::text[], %s::text[], %s::bytea[], %s::text[], %s::text[], %s::text[])
           AS refused (external_id, raw, raw_hash, code, pointer, detail)
     ORDER BY raw_hash
    ON CONFLICT (club_id, source_id, raw_hash) DO UPDATE
       SET code = EXCLUDED.code, pointer = EXCLUDED.pointer, detail = EXCLUDED.detail,
           expires_at = EXCLUDED.expires_at, replayed_at = NULL
"""


def keep_rows(
    *, club: Club, source_id: UUID, kind: RowKind, refused: Iterable[tuple[Row[Sent], Fault]]
) -> None:
    """Keep refused rows raw; the same row again is the same problem. Call it in the club's scope.

    A row over the limit is kept as far as the limit: it is there to be looked at.
    """
    kept: dict[bytes, tuple[str, str, bytes, str, str, str]] = {}
    for row, fault in refused:
        whole = bytes(row.raw)
        raw_hash = hashlib.blake2b(whole, digest_size=16, person=_PERSONS[kind]).digest()
        raw = whole[:MAX_ROW_BYTES].decode(errors="replace")
        kept[raw_hash] = (
            row.external_id,
            _without_nul(raw),
            raw_hash,
            fault.code,
            _without_nul(fault.pointer)[:200],
            _without_nul(fault.detail)[:400],
        )
    if not kept:
        return
    columns = [list(column) for column in zip(*kept.values(), strict=True)]
    with connection.cursor() as cursor:
        cursor.execute(_KEEP, [club.id, source_id, kind.value, timezone.now() + KEPT_FOR, *columns])


def _without_nul(text: str) -> str:
    """Return a text that the database can hold; a fault may repeat a name that was sent."""
    return text.replace("\0", "\ufffd")


def forget_expired() -> int:
    """Delete the rows of every club whose 30 days are over; return how many."""
    forgotten = 0
    for club_id in club_selectors.list_club_ids():
        with club_scope(club_id):
            count, _ = QuarantinedRow.objects.filter(expires_at__lte=timezone.now()).delete()
        forgotten += count
    return forgotten
