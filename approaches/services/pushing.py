"""Take what a source sends: store what is right, keep what is wrong, say which is which."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar
from uuid import UUID

from django.db import OperationalError, transaction
from django.db.models import QuerySet
from psycopg.errors import DeadlockDetected, SerializationFailure

from approaches.errors import ConflictingRowError, RefusedBatchError, RefusedRowError
from approaches.services import quarantine, storing
from approaches.services.arrays import columns_of
from approaches.services.checking import check_readings
from approaches.services.readings import Reading, Row
from approaches.services.resolving import References, Resolved
from athletes.models import Athlete
from clubs import selectors as club_selectors
from clubs.errors import RevokedSourceError
from clubs.models import Club, Source
from clubs.services import auditing
from common import metrics
from common.club_scope import club_scope, current_club_id
from common.errors import Fault

Rows = Sequence[Row[Reading]]

MAX_TRIES = 4

# Refusals that are cured by adding what is missing to the club, not by changing the row.
_CURED_ELSEWHERE = frozenset({"unknown_athlete", "unknown_approach", "unknown_session"})
_CONFLICT = Fault(
    "/external_id",
    ConflictingRowError.code,
    "This external id is stored with other content. Nothing was overwritten.",
)


@dataclass(frozen=True, slots=True)
class RowOutcome:
    """A row that needs attention, with every rule that it breaks."""

    index: int
    line: int | None
    external_id: str
    faults: tuple[Fault, ...]

    @property
    def send_again_helps(self) -> bool:
        """Answer whether the same row can be stored later, once the club has what it names."""
        return all(fault.code in _CURED_ELSEWHERE for fault in self.faults)


@dataclass(frozen=True, slots=True)
class RecordOutcome:
    """What became of a batch; `received` is the sum of the four counts."""

    created: int
    known: int
    conflicts: int
    rejected: int
    rows: tuple[RowOutcome, ...] = ()

    @property
    def received(self) -> int:
        return self.created + self.known + self.conflicts + self.rejected

    @property
    def complete(self) -> bool:
        return not (self.conflicts or self.rejected)


@dataclass(frozen=True, slots=True)
class RowResult:
    """The attempt that a single row was stored as, now or earlier."""

    attempt_id: UUID | None  # None after a dry run
    external_id: str
    created: bool


@dataclass(frozen=True, slots=True)
class _Judged:
    outcome: RecordOutcome
    ids: dict[int, UUID]
    made_sessions: list[UUID]


def record_attempts(
    *,
    club: Club,
    source_id: UUID,
    rows: Rows,
    caller: club_selectors.Caller | None = None,
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

    def record() -> RecordOutcome:
        with club_scope(club), transaction.atomic():
            judged = _judge(club, source_id, rows, athletes, make_sessions)
            outcome = judged.outcome
            if all_or_nothing and not outcome.complete:
                raise RefusedBatchError(
                    f"{outcome.rejected + outcome.conflicts} of {outcome.received} rows cannot be "
                    "stored; the others would have been.",
                    faults=[
                        Fault(f"/{row.index}{fault.pointer}", fault.code, fault.detail)
                        for row in outcome.rows[:100]
                        for fault in row.faults[:1]
                    ],
                )
            if dry_run:
                transaction.set_rollback(True)
                return outcome
            _finish(club, source_id, rows, judged, caller)
            return outcome

    outcome = _again_after_deadlock(record)
    if not dry_run:
        _count(outcome)
    return outcome


def record_one(
    *,
    club: Club,
    source_id: UUID,
    row: Row[Reading],
    caller: club_selectors.Caller | None = None,
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

    def record() -> _Judged:
        with club_scope(club), transaction.atomic():
            judged = _judge(club, source_id, [row], athletes, make_sessions)
            if dry_run:
                transaction.set_rollback(True)
            elif judged.outcome.complete or keep_refused:
                _finish(club, source_id, [row], judged, caller)
            return judged

    judged = _again_after_deadlock(record)
    outcome = judged.outcome
    if not dry_run:
        _count(outcome)
    if outcome.rejected:
        faults = outcome.rows[0].faults
        raise RefusedRowError(faults[0].detail, faults=faults)
    if outcome.conflicts:
        raise ConflictingRowError(faults=[_CONFLICT])
    return RowResult(
        attempt_id=None if dry_run else judged.ids[0],
        external_id=row.external_id,
        created=outcome.created == 1,
    )


def _judge(
    club: Club,
    source_id: UUID,
    rows: Rows,
    athletes: QuerySet[Athlete] | None,
    make_sessions: bool,
) -> _Judged:
    """Check every row and store the good ones, inside the club's scope."""
    source = club_selectors.get_source(source_id)
    if source.closed_at is not None:
        raise RevokedSourceError
    readable = [row for row in rows if row.reading is not None]
    readings = [row.reading for row in readable if row.reading is not None]
    faults: dict[int, tuple[Fault, ...]] = {
        row.index: (row.fault,) for row in rows if row.fault is not None
    }
    columns = columns_of(readings)
    broken = check_readings(readings, columns)
    sound = [reading for place, reading in enumerate(readings) if place not in broken]
    references = References(
        sound,
        club=club,
        athletes=Athlete.objects.all() if athletes is None else athletes,
        make_sessions=make_sessions,
    )
    resolved = [
        None if place in broken else _resolve(references, reading, readable[place], faults)
        for place, reading in enumerate(readings)
    ]
    for place, found in broken.items():
        faults[readable[place].index] = tuple(found)
    stored = storing.store_readings(
        club=club, source=source, readings=readings, resolved=resolved, columns=columns
    )
    references.forget_sessions(
        used={meant.session_id for place in stored.created if (meant := resolved[place])}
    )
    for place in stored.conflicts:
        faults[readable[place].index] = (_CONFLICT,)
    outcome = RecordOutcome(
        created=len(stored.created),
        known=len(stored.known),
        conflicts=len(stored.conflicts),
        rejected=len(faults) - len(stored.conflicts),
        rows=tuple(
            RowOutcome(row.index, row.line, row.external_id, faults[row.index])
            for row in rows
            if row.index in faults
        ),
    )
    return _Judged(outcome=outcome, ids=stored.ids, made_sessions=references.made_sessions)


def _resolve(
    references: References,
    reading: Reading,
    row: Row[Reading],
    faults: dict[int, tuple[Fault, ...]],
) -> Resolved | None:
    meant = references.resolve(reading)
    if isinstance(meant, Fault):
        faults[row.index] = (meant,)
        return None
    return meant


def _finish(
    club: Club,
    source_id: UUID,
    rows: Rows,
    judged: _Judged,
    caller: club_selectors.Caller | None,
) -> None:
    """Keep what was refused, and note what was done."""
    by_index = {row.index: row for row in rows}
    quarantine.keep_rows(
        club=club,
        source=Source(id=source_id, club_id=club.id),
        refused=[(by_index[refused.index], refused.faults[0]) for refused in judged.outcome.rows],
    )
    if judged.made_sessions:
        auditing.record_audit(
            club=club,
            caller=caller,
            action="session_added",
            subjects={"session": judged.made_sessions},
        )
    auditing.record_audit(
        club=club,
        caller=caller,
        action="attempts_pushed",
        subjects={"source": [source_id]},
        counts=_counts(judged.outcome),
    )


def _counts(outcome: RecordOutcome) -> dict[str, int]:
    return {
        "created": outcome.created,
        "known": outcome.known,
        "conflict": outcome.conflicts,
        "rejected": outcome.rejected,
    }


def _count(outcome: RecordOutcome) -> None:
    for name, count in _counts(outcome).items():
        metrics.rows_received.labels(name).inc(count)


Answer = TypeVar("Answer")


def _again_after_deadlock(record: Callable[[], Answer]) -> Answer:
    """Run a whole transaction again when the database gave it up for another one.

    Inside somebody else's scope there is no transaction of our own to run again.
    """
    tries = 1 if current_club_id() is not None else MAX_TRIES
    for attempt in range(1, tries + 1):
        try:
            return record()
        except OperationalError as error:
            given_up = isinstance(error.__cause__, DeadlockDetected | SerializationFailure)
            if not given_up or attempt == tries:
                raise
    raise AssertionError("the last try returns or raises")
