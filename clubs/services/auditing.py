"""Who did what."""

import json
from collections.abc import Collection, Iterable, Mapping
from uuid import UUID

from django.db.models import Model

from clubs import selectors
from clubs.models import Club
from common import prepared
from common.request_id import current_request_id

_NOTE = """
    INSERT INTO clubs_auditentry (club_id, actor_kind, actor_id, action, subject_kind, subject_ids,
                                  field_names, counts, request_id)
    VALUES (%s, %s, %s::uuid, %s, %s, %s::uuid[], %s::text[], %s::jsonb, %s)
"""


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
        prepared.write(
            _NOTE,
            [
                club.id,
                "system" if caller is None else caller.actor_kind,
                None if caller is None else caller.actor_id,
                action,
                kind,
                list(ids),
                list(field_names),
                json.dumps(dict(counts or {})),
                current_request_id(),
            ],
        )


def record_change(
    *, club: Club, caller: selectors.Caller | None, subject: Model, changed: Collection[str]
) -> None:
    """Note which fields of a row were changed; without a changed field there is nothing to note."""
    if changed:
        kind = subject._meta.verbose_name_raw.replace(" ", "_")
        record_audit(
            club=club,
            caller=caller,
            action=f"{kind}_changed",
            subjects={kind: [subject.pk]},
            field_names=changed,
        )
