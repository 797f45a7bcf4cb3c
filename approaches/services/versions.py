"""What an attempt was before: kept with each change, whoever made it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import UUID

import msgspec
from django.db import connection

from approaches.models import Attempt, ChangeKind
from approaches.services import stored
from clubs.models import Club
from clubs.selectors import Caller

_KEEP = """
    INSERT INTO approaches_attemptversion (club_id, attempt_id, version, former, kind, field_names,
                                           replaced_by, reason)
    SELECT %s, attempt_id, version, former::jsonb, %s, %s, replaced_by, reason
      FROM unnest(%s::uuid[], %s::int[], %s::text[], %s::uuid[], %s::text[])
           AS kept (attempt_id, version, former, replaced_by, reason)
"""


@dataclass(frozen=True, slots=True)
class Former:
    """An attempt that is about to be changed, by whom and why."""

    attempt: Attempt
    replaced_by: UUID
    reason: str


def keep_formers(
    *, club: Club, formers: Sequence[Former], kind: ChangeKind, columns: Iterable[str]
) -> None:
    """Keep what attempts are before `columns` of them change; call it in the club's scope."""
    with connection.cursor() as cursor:
        cursor.execute(
            _KEEP,
            [
                club.id,
                kind.value,
                wire_names(columns),
                [former.attempt.id for former in formers],
                [former.attempt.version for former in formers],
                [
                    msgspec.json.encode(stored.describe(former.attempt)).decode()
                    for former in formers
                ],
                [former.replaced_by for former in formers],
                [former.reason for former in formers],
            ],
        )


def wire_names(columns: Iterable[str]) -> list[str]:
    """Return the names under which the API knows columns of an attempt."""
    return sorted(stored.WIRE_NAMES.get(column, column) for column in columns)


def actor_of(caller: Caller) -> UUID:
    """Return under which id a caller's changes are kept: that of the audit."""
    actor_id = caller.actor_id
    assert actor_id is not None  # noqa: S101  # whoever changes a row holds a token or membership
    return actor_id
