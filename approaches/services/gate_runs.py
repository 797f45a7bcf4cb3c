"""Take the gate runs that a source sends, and bring them to their attempts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC
from uuid import UUID

import msgspec
from django.db import connection
from django.db.models import QuerySet

from approaches.models import GateRun, RowKind
from approaches.services import gate_times, matching, recording
from approaches.services.gate_times import GateTimes
from approaches.services.readings import Row
from approaches.services.recording import Push, RecordOutcome, Stored, Verdict
from approaches.services.resolving import find_athletes, unknown_athlete
from athletes.models import Athlete
from clubs.models import Club
from clubs.selectors import Caller
from common.errors import Fault

Rows = Sequence[Row[GateTimes]]

# In the order of the natural key, as attempts are, so that two clients do not wait for each other.
# JSON carries numbers to the last digit, and arrays of different lengths.
_INSERT = """
    INSERT INTO approaches_gaterun (club_id, source_id, external_id, athlete_id,
                                    attempt_external_id, started_at, at_m, time_s, raw,
                                    fingerprint)
    SELECT %s, %s, external_id, athlete_id, attempt_external_id, started_at, at_m, time_s, raw,
           decode(fingerprint, 'hex')
      FROM json_to_recordset(%s::json)
           AS sent (external_id text, athlete_id uuid, attempt_external_id text,
                    started_at timestamptz, at_m float8[], time_s float8[], raw jsonb,
                    fingerprint text)
     ORDER BY external_id
    ON CONFLICT (club_id, source_id, external_id) DO NOTHING
    RETURNING external_id, id
"""
_STORED = """
    SELECT external_id, id, fingerprint FROM approaches_gaterun
     WHERE club_id = %s AND source_id = %s AND external_id = ANY(%s)
"""


@dataclass(frozen=True, slots=True)
class GateRunResult:
    """The gate run that a single row was stored as, and the attempt that it was matched to."""

    run_id: UUID | None  # None after a dry run
    external_id: str
    created: bool
    attempt_id: UUID | None
    unmatched_because: str | None


def record_gate_runs(
    *,
    club: Club,
    source_id: UUID,
    rows: Rows,
    caller: Caller | None = None,
    athletes: QuerySet[Athlete] | None = None,
    dry_run: bool = False,
    all_or_nothing: bool = False,
) -> RecordOutcome:
    """Store the runs that the club does not have yet, and match them.

    Sending a batch again changes nothing. A row that breaks a rule is refused and waits in
    quarantine. With `athletes`, a run must be of one of these.

    Raises
    ------
    RevokedSourceError
        The source may not push any more; nothing is stored.
    RefusedBatchError
        `all_or_nothing`, and some row is refused or in conflict; nothing is stored.
    """
    push = Push(club, source_id, RowKind.GATE_RUN, rows, caller)
    verdict = recording.record_push(
        push,
        lambda: _judge(push, rows, athletes),
        dry_run=dry_run,
        all_or_nothing=all_or_nothing,
    )
    return verdict.outcome


def record_gate_run(
    *,
    club: Club,
    source_id: UUID,
    row: Row[GateTimes],
    caller: Caller | None = None,
    athletes: QuerySet[Athlete] | None = None,
    dry_run: bool = False,
    keep_refused: bool = True,
) -> GateRunResult:
    """Store one run and match it, or find that it is stored already.

    Raises
    ------
    RevokedSourceError
        The source may not push any more.
    RefusedRowError
        The run breaks a rule or names something unknown; it waits in quarantine.
    ConflictingRowError
        Its id is stored with other content; nothing was overwritten.
    """
    push = Push(club, source_id, RowKind.GATE_RUN, [row], caller)
    matched: list[tuple[UUID | None, str | None]] = []

    def judge() -> Verdict:
        verdict = _judge(push, [row], athletes)
        # Asked within the transaction, because a dry run takes everything back.
        found = GateRun.objects.filter(id__in=verdict.ids.values())
        matched[:] = found.values_list("attempt_id", "unmatched_because")
        return verdict

    verdict = recording.record_push(push, judge, dry_run=dry_run, keep_refused=keep_refused)
    recording.refuse_one(verdict.outcome)
    ((attempt_id, unmatched_because),) = matched
    return GateRunResult(
        run_id=None if dry_run else verdict.ids[0],
        external_id=row.external_id,
        created=verdict.outcome.created == 1,
        attempt_id=attempt_id,
        unmatched_because=unmatched_because,
    )


def _judge(push: Push, rows: Rows, athletes: QuerySet[Athlete] | None) -> Verdict:
    """Check every row, store the good ones and match them, inside the club's scope."""
    readable = [row for row in rows if row.reading is not None]
    sent = [row.reading for row in readable if row.reading is not None]
    refused: dict[int, Sequence[Fault]] = {
        row.index: (row.fault,) for row in rows if row.fault is not None
    }
    broken = gate_times.check_gate_times(sent)
    known = find_athletes(
        Athlete.objects.all() if athletes is None else athletes,
        {each.athlete for each in sent if each.athlete is not None},
    )
    for place, (row, each) in enumerate(zip(readable, sent, strict=True)):
        faults = broken.get(place) or _find_faults(each, known, by_person=athletes is not None)
        if faults:
            refused[row.index] = faults
    stored = _store(push, readable, sent, known, refused)
    if stored.created:
        matching.take_turn(push.club, alone=True)
        matching.match_runs(
            club=push.club,
            run_ids=[stored.ids[place] for place in stored.created],
            caller=push.caller,
        )
    outcome = recording.outcome_of(rows, readable, refused, stored)
    return Verdict(outcome=outcome, ids=stored.ids)


def _find_faults(sent: GateTimes, known: Mapping[str, UUID], *, by_person: bool) -> list[Fault]:
    if sent.athlete is None and by_person:
        # Whose run it is decides who may see it, and whose attempts it may be matched to.
        return [Fault("/athlete", "required", "A person says whose run it is.")]
    if sent.athlete is not None and sent.athlete not in known:
        return [unknown_athlete(sent.athlete)]
    return []


def _store(
    push: Push,
    readable: Rows,
    sent: Sequence[GateTimes],
    known: Mapping[str, UUID],
    refused: Mapping[int, Sequence[Fault]],
) -> Stored:
    """Store the runs that are not refused and not stored yet."""
    external_ids = [None if row.index in refused else row.external_id for row in readable]
    athlete_ids = [None if each.athlete is None else known.get(each.athlete) for each in sent]
    fingerprints = [
        b"" if external_id is None else gate_times.fingerprint(each, athlete_id)
        for external_id, each, athlete_id in zip(external_ids, sent, athlete_ids, strict=True)
    ]
    first_of: dict[str, int] = {}
    for place, external_id in enumerate(external_ids):
        if external_id is not None:
            first_of.setdefault(external_id, place)
    if not first_of:
        return Stored({}, frozenset(), frozenset(), frozenset())
    rows = [
        {
            "external_id": external_id,
            "athlete_id": athlete_ids[place],
            "attempt_external_id": sent[place].attempt_external_id or "",
            # PostgreSQL refuses offsets of 16 hours and more.
            "started_at": sent[place].started_at.astimezone(UTC),
            "at_m": sent[place].at_m,
            "time_s": sent[place].time_s,
            "raw": sent[place],
            "fingerprint": fingerprints[place].hex(),
        }
        for external_id, place in first_of.items()
    ]
    with connection.cursor() as cursor:
        key = [push.club.id, push.source_id]
        cursor.execute(_INSERT, [*key, msgspec.json.encode(rows).decode()])
        new_ids: dict[str, UUID] = dict(cursor.fetchall())
        earlier = [external_id for external_id in first_of if external_id not in new_ids]
        old: dict[str, tuple[UUID, bytes]] = {}
        if earlier:
            cursor.execute(_STORED, [*key, earlier])
            old = {name: (run_id, bytes(kept)) for name, run_id, kept in cursor.fetchall()}
    return recording.place_twins(external_ids, fingerprints, new_ids=new_ids, old=old)
