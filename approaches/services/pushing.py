"""Take the attempts that a source sends: store what is right, and say what is wrong."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db.models import QuerySet

from approaches.models import RowKind
from approaches.services import matching, recording, storing
from approaches.services.arrays import columns_of
from approaches.services.checking import check_readings
from approaches.services.readings import Reading, Row
from approaches.services.recording import Push, RecordOutcome, Verdict
from approaches.services.resolving import References, Resolved
from athletes.models import Athlete
from clubs.models import Club
from clubs.selectors import Caller
from clubs.services import auditing
from common.errors import Fault

Rows = Sequence[Row[Reading]]


@dataclass(frozen=True, slots=True)
class RowResult:
    """The attempt that a single row was stored as, now or earlier."""

    attempt_id: UUID | None  # None after a dry run
    external_id: str
    created: bool


def record_attempts(
    *,
    club: Club,
    source_id: UUID,
    rows: Rows,
    caller: Caller | None = None,
    athletes: QuerySet[Athlete] | None = None,
    dry_run: bool = False,
    all_or_nothing: bool = False,
    make_sessions: bool = False,
) -> RecordOutcome:
    """Store the rows that the club does not have yet.

    Sending a batch again changes nothing, so a client may retry freely. A row that breaks a rule
    or names something unknown is refused and waits in quarantine; the others are stored. With
    `athletes`, only attempts of these may be stored.

    Raises
    ------
    RevokedSourceError
        The source may not push any more; nothing is stored.
    RefusedBatchError
        `all_or_nothing`, and some row is refused or in conflict; nothing is stored.
    """
    push = Push(club, source_id, RowKind.ATTEMPT, rows, caller)
    verdict = recording.record_push(
        push,
        lambda: _judge(push, rows, athletes, make_sessions=make_sessions),
        dry_run=dry_run,
        all_or_nothing=all_or_nothing,
    )
    return verdict.outcome


def record_one(
    *,
    club: Club,
    source_id: UUID,
    row: Row[Reading],
    caller: Caller | None = None,
    athletes: QuerySet[Athlete] | None = None,
    dry_run: bool = False,
    make_sessions: bool = False,
    keep_refused: bool = True,
) -> RowResult:
    """Store one row, or find that it is stored already.

    Raises
    ------
    RevokedSourceError
        The source may not push any more.
    RefusedRowError
        The row breaks a rule or names something unknown; it waits in quarantine.
    ConflictingRowError
        Its id is stored with other content; nothing was overwritten.
    """
    push = Push(club, source_id, RowKind.ATTEMPT, [row], caller)
    verdict = recording.record_push(
        push,
        lambda: _judge(push, [row], athletes, make_sessions=make_sessions),
        dry_run=dry_run,
        keep_refused=keep_refused,
    )
    recording.refuse_one(verdict.outcome)
    return RowResult(
        attempt_id=None if dry_run else verdict.ids[0],
        external_id=row.external_id,
        created=verdict.outcome.created == 1,
    )


def _judge(
    push: Push,
    rows: Rows,
    athletes: QuerySet[Athlete] | None,
    *,
    make_sessions: bool,
) -> Verdict:
    """Check every row and store the good ones, inside the club's scope."""
    club = push.club
    readable = [row for row in rows if row.reading is not None]
    readings = [row.reading for row in readable if row.reading is not None]
    refused: dict[int, Sequence[Fault]] = {
        row.index: (row.fault,) for row in rows if row.fault is not None
    }
    columns = columns_of(readings)
    broken = check_readings(readings, columns)
    sound = [reading for place, reading in enumerate(readings) if place not in broken]
    references = References(
        sound,
        club=club,
        athletes=athletes,
        make_sessions=make_sessions,
    )
    resolved = [
        None if place in broken else _resolve(references, reading, readable[place], refused)
        for place, reading in enumerate(readings)
    ]
    for place, found in broken.items():
        refused[readable[place].index] = found
    stored = storing.store_readings(
        club=club, source_id=push.source_id, readings=readings, resolved=resolved, columns=columns
    )
    references.forget_sessions(
        used={meant.session_id for place in stored.created if (meant := resolved[place])}
    )
    if references.made_sessions:
        auditing.record_audit(
            club=club,
            caller=push.caller,
            action="session_added",
            subjects={"session": references.made_sessions},
        )
    matching.match_attempts(
        club=club,
        attempts=[
            matching.Newcomer(meant.athlete_id, readings[place].started_at, row.external_id)
            for place, row in enumerate(readable)
            if place in stored.created and not readings[place].gates and (meant := resolved[place])
        ],
        caller=push.caller,
    )
    outcome = recording.outcome_of(rows, readable, refused, stored)
    return Verdict(outcome=outcome, ids=stored.ids)


def _resolve(
    references: References,
    reading: Reading,
    row: Row[Reading],
    refused: dict[int, Sequence[Fault]],
) -> Resolved | None:
    meant = references.resolve(reading)
    if isinstance(meant, Fault):
        refused[row.index] = (meant,)
        return None
    return meant
