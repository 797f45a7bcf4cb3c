"""Who did what."""

from collections.abc import Iterable, Mapping
from uuid import UUID

from clubs import selectors
from clubs.models import AuditEntry, Club
from common.request_id import current_request_id


def record_audit(
    *,
    club: Club,
    caller: selectors.Caller | None,
    action: str,
    subjects: Mapping[str, Iterable[UUID]],
    field_names: Iterable[str] = (),
    counts: Mapping[str, int] | None = None,
) -> None:
    """Note who did what to which rows, in the transaction of the work: ids and names, no values."""
    for kind, ids in subjects.items():
        AuditEntry.objects.create(
            club=club,
            actor_kind="system" if caller is None else caller.actor_kind,
            actor_id=None if caller is None else caller.actor_id,
            action=action,
            subject_kind=kind,
            subject_ids=list(ids),
            field_names=list(field_names),
            counts=dict(counts or {}),
            request_id=current_request_id(),
        )
