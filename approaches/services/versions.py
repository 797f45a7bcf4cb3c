"""What an attempt was before: kept with each change, whoever made it."""

from collections.abc import Iterable, Sequence
from uuid import UUID

from approaches.models import Attempt, AttemptVersion, ChangeKind
from approaches.services import stored
from clubs.selectors import Caller


def former_of(
    attempt: Attempt,
    *,
    kind: ChangeKind,
    columns: Iterable[str],
    reason: str,
    replaced_by: UUID,
) -> AttemptVersion:
    """Return the version that an attempt is before `columns` change; the caller stores it."""
    return AttemptVersion(
        club_id=attempt.club_id,
        attempt_id=attempt.id,
        version=attempt.version,
        former=stored.describe(attempt),
        kind=kind,
        field_names=wire_names(columns),
        replaced_by=replaced_by,
        reason=reason,
    )


def wire_names(columns: Iterable[str]) -> Sequence[str]:
    """Return the names under which the API knows columns of an attempt."""
    return sorted(stored.WIRE_NAMES.get(column, column) for column in columns)


def actor_of(caller: Caller) -> UUID:
    """Return under which id a caller's changes are kept: that of the audit."""
    actor_id = caller.actor_id
    assert actor_id is not None  # noqa: S101  # whoever changes a row holds a token or membership
    return actor_id
