"""What every push shares, whatever its rows are: outcomes, rehearsals, all or nothing."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar
from uuid import UUID

from django.db import OperationalError, transaction
from psycopg.errors import DeadlockDetected, SerializationFailure

from approaches.errors import ConflictingRowError, RefusedBatchError, RefusedRowError
from approaches.models import RowKind
from approaches.services import quarantine
from approaches.services.readings import Row, Sent
from clubs import selectors as club_selectors
from clubs.models import Club
from clubs.selectors import Caller
from clubs.services import auditing
from common import metrics
from common.club_scope import club_scope, current_club_id
from common.errors import Fault

MAX_TRIES = 4

# Refusals that are cured by adding what is missing to the club, not by changing the row.
_CURED_ELSEWHERE = frozenset({"unknown_athlete", "unknown_approach", "unknown_session"})
_CONFLICT = Fault(
    "/external_id",
    ConflictingRowError.code,
    "This external id is stored with other content. Nothing was overwritten.",
)
_ACTIONS = {RowKind.ATTEMPT: "attempts_pushed", RowKind.GATE_RUN: "gate_runs_pushed"}


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

    @property
    def counts(self) -> dict[str, int]:
        """Return the four counts by the words under which audit and metrics know them."""
        return {
            "created": self.created,
            "known": self.known,
            "conflict": self.conflicts,
            "rejected": self.rejected,
        }


@dataclass(frozen=True, slots=True)
class Stored:
    """What became of each reading, by its place in the batch, and under which id it is stored."""

    ids: dict[int, UUID]
    created: frozenset[int]
    known: frozenset[int]
    conflicts: frozenset[int]


@dataclass(frozen=True, slots=True)
class Push:
    """Rows of one kind that a source sends."""

    club: Club
    source_id: UUID
    kind: RowKind
    rows: Sequence[Row[Sent]]
    caller: Caller | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of the rows of a push, and the ids of those that could be read, in order."""

    outcome: RecordOutcome
    ids: Mapping[int, UUID]


Judge = Callable[[], Verdict]


def record_push(
    push: Push,
    judge: Judge,
    *,
    dry_run: bool = False,
    all_or_nothing: bool = False,
    keep_refused: bool = True,
) -> Verdict:
    """Have rows judged and stored in one transaction, and keep those that were refused.

    Without `keep_refused`, a push that is not complete leaves no trace.

    Raises
    ------
    RevokedSourceError
        The source may not push any more; nothing is stored.
    RefusedBatchError
        `all_or_nothing`, and some row is refused or in conflict; nothing is stored.
    """

    # In a scope of our own there is nothing besides the push that could be kept or taken back.
    within_another = current_club_id() is not None

    def record() -> Verdict:
        # Many rows travel by COPY, which a pipeline does not take.
        pipelined = len(push.rows) == 1
        with (
            club_scope(push.club, pipelined=pipelined),
            transaction.atomic(savepoint=within_another),
        ):
            club_selectors.check_source_is_open(club=push.club, source_id=push.source_id)
            verdict = judge()
            if all_or_nothing:
                _refuse_incomplete(verdict.outcome)
            if dry_run:
                transaction.set_rollback(True)
            elif verdict.outcome.complete or keep_refused:
                _finish(push, verdict.outcome)
            return verdict

    verdict = _again_after_deadlock(record)
    if not dry_run:
        for name, count in verdict.outcome.counts.items():
            metrics.rows_received.labels(name).inc(count)
    return verdict


def outcome_of(
    rows: Sequence[Row[Sent]],
    readable: Sequence[Row[Sent]],
    refused: Mapping[int, Sequence[Fault]],
    stored: Stored,
) -> RecordOutcome:
    """Return the outcome of rows; `readable` are those that have a place in `stored`.

    `refused` are the faults of a row by its index.
    """
    faults = {
        **refused,
        **{readable[place].index: (_CONFLICT,) for place in stored.conflicts},
    }
    return RecordOutcome(
        created=len(stored.created),
        known=len(stored.known),
        conflicts=len(stored.conflicts),
        rejected=len(refused),
        rows=tuple(
            RowOutcome(row.index, row.line, row.external_id, tuple(faults[row.index]))
            for row in rows
            if row.index in faults
        ),
    )


def place_twins(
    external_ids: Sequence[str | None],
    fingerprints: Sequence[bytes],
    *,
    new_ids: Mapping[str, UUID],
    old: Mapping[str, tuple[UUID, bytes]],
) -> Stored:
    """Return what became of readings, given what was inserted and what was there before.

    The same external id twice in one batch: the first is kept, a later one with the same content
    is known, with other content a conflict. None stands for a reading that was not to be stored.
    """
    first_of: dict[str, int] = {}
    ids: dict[int, UUID] = {}
    created, known, conflicts = set(), set(), set()
    for place, external_id in enumerate(external_ids):
        if external_id is None:
            continue
        first = first_of.setdefault(external_id, place)
        if external_id in new_ids:
            ids[place], kept = new_ids[external_id], fingerprints[first]
        else:
            ids[place], kept = old[external_id]
        if external_id in new_ids and first == place:
            created.add(place)
        elif kept == fingerprints[place]:
            known.add(place)
        else:
            conflicts.add(place)
    return Stored(ids, frozenset(created), frozenset(known), frozenset(conflicts))


def refuse_one(outcome: RecordOutcome) -> None:
    """Say of a single row why it was not stored, if it was not.

    Raises
    ------
    RefusedRowError
        It breaks a rule or names something unknown.
    ConflictingRowError
        Its id is stored with other content; nothing was overwritten.
    """
    if outcome.rejected:
        faults = outcome.rows[0].faults
        raise RefusedRowError(faults[0].detail, faults=faults)
    if outcome.conflicts:
        raise ConflictingRowError(faults=[_CONFLICT])


def _refuse_incomplete(outcome: RecordOutcome) -> None:
    if outcome.complete:
        return
    raise RefusedBatchError(
        f"{outcome.rejected + outcome.conflicts} of {outcome.received} rows cannot be "
        "stored; the others would have been.",
        faults=[
            Fault(f"/{row.index}{fault.pointer}", fault.code, fault.detail)
            for row in outcome.rows[:100]
            for fault in row.faults[:1]
        ],
    )


def _finish(push: Push, outcome: RecordOutcome) -> None:
    """Keep what was refused, and note what was done."""
    by_index = {row.index: row for row in push.rows}
    quarantine.keep_rows(
        club=push.club,
        source_id=push.source_id,
        kind=push.kind,
        refused=[(by_index[refused.index], refused.faults[0]) for refused in outcome.rows],
    )
    auditing.record_audit(
        club=push.club,
        caller=push.caller,
        action=_ACTIONS[push.kind],
        subjects={"source": [push.source_id]},
        counts=outcome.counts,
    )


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
