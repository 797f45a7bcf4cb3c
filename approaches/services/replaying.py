"""Push a row of the quarantine again, as it is or mended."""

import json
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone

from approaches import selectors
from approaches.errors import AlreadyReplayedError
from approaches.models import QuarantinedRow, RowKind
from approaches.services import gate_runs, matching, pushing
from approaches.services.gate_times import GATE_RUNS
from approaches.services.readings import ATTEMPTS, read_row
from athletes.models import Athlete
from clubs.models import Club
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import NotFoundError


@dataclass(frozen=True, slots=True)
class Replayed:
    """The attempt or gate run that a refused row was stored as, now or earlier."""

    kind: RowKind
    id: UUID | None
    external_id: str
    created: bool


def replay_row(
    *,
    club: Club,
    row_id: UUID,
    caller: Caller,
    mended: dict[str, Any] | None = None,
    athletes: QuerySet[Athlete] | None = None,
) -> Replayed:
    """Push the quarantined row again under its own source; `mended` takes the place of what it was.

    Raises
    ------
    NotFoundError
        The club has no such row in quarantine.
    AlreadyReplayedError
        It was stored by an earlier replay.
    RefusedRowError, ConflictingRowError
        It still breaks a rule, or its id is stored with other content; it stays in quarantine.
    """
    with club_scope(club):
        # Before the row is locked, as a push that keeps the same row does.
        matching.take_turn(club, alone=True)
        kept = (
            selectors.list_quarantined_for(caller)
            .select_for_update(no_key=True)
            .filter(id=row_id)
            .first()
        )
        if kept is None:
            raise NotFoundError
        if kept.replayed_at is not None:
            raise AlreadyReplayedError
        raw = kept.raw.encode() if mended is None else json.dumps(mended).encode()
        replayed = _push(club, kept, raw, caller=caller, athletes=athletes)
        kept.replayed_at = timezone.now()
        kept.save(update_fields=["replayed_at"])
        auditing.record_audit(
            club=club,
            caller=caller,
            action="quarantine_replayed",
            subjects={"quarantined_row": [kept.id]},
        )
        return replayed


def _push(
    club: Club,
    kept: QuarantinedRow,
    raw: bytes,
    *,
    caller: Caller,
    athletes: QuerySet[Athlete] | None,
) -> Replayed:
    """Push the row at the door at which it was refused."""
    if kept.kind == RowKind.GATE_RUN:
        run = gate_runs.record_gate_run(
            club=club,
            source_id=kept.source_id,
            row=read_row(raw, GATE_RUNS),
            caller=caller,
            athletes=athletes,
            keep_refused=False,
        )
        return Replayed(RowKind.GATE_RUN, run.run_id, run.external_id, run.created)
    attempt = pushing.record_one(
        club=club,
        source_id=kept.source_id,
        row=read_row(raw, ATTEMPTS),
        caller=caller,
        athletes=athletes,
        keep_refused=False,
    )
    return Replayed(RowKind.ATTEMPT, attempt.attempt_id, attempt.external_id, attempt.created)
