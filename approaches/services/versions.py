"""What an attempt was before: kept with each change, whoever made it."""

from collections.abc import Iterable, Sequence
from uuid import UUID

from approaches.models import Attempt, AttemptVersion, ChangeKind
from approaches.services import stored


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
