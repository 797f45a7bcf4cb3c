"""Bring gate runs and attempts together, whichever of the two came first.

A run that names its attempt gets that one; another run gets the one attempt of its athlete that
started within ten seconds of it. Gates are filled where there are none, and never overwritten.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Protocol
from uuid import UUID

import msgspec
from django.db import connection

from approaches.models import Attempt, ChangeKind, GateRun, MatchedBy, Unmatched
from approaches.services import stored, storing, versions
from approaches.services.arrays import columns_of
from approaches.services.checking import check_readings
from clubs.models import Club
from clubs.selectors import Caller
from clubs.services import auditing
from common.errors import Fault

NEAR = timedelta(seconds=10)
_NEAR = f"interval '{NEAR.seconds} seconds'"
GATE_COLUMNS = ("gate_at_m", "gate_time_s")

_TAKE_TURN = "SELECT pg_advisory_xact_lock{}(hashtextextended('matching ' || %s, 0))"
_WAITING = """
    SELECT id, athlete_id, started_at FROM approaches_gaterun
     WHERE club_id = %s AND attempt_id IS NULL AND started_at BETWEEN %s AND %s
       AND attempt_external_id = ''
    UNION ALL
    SELECT id, NULL, NULL FROM approaches_gaterun
     WHERE club_id = %s AND attempt_id IS NULL AND attempt_external_id <> ''
       AND attempt_external_id = ANY(%s)
"""
# A run names an attempt of whatever source; one of its own source goes first. OFFSET 0 has each run
# look into the index for itself: joined at once, every run met every attempt of its athlete.
_CANDIDATES = f"""
    SELECT run.id, near.*
      FROM approaches_gaterun AS run
     CROSS JOIN LATERAL (
           SELECT attempt.id, attempt.athlete_id, attempt.source_id = run.source_id,
                  cardinality(attempt.gate_at_m) > 0
             FROM clubs_source AS source
             JOIN approaches_attempt AS attempt
                  ON attempt.club_id = source.club_id AND attempt.source_id = source.id
                 AND attempt.external_id = run.attempt_external_id AND attempt.voided_at IS NULL
            WHERE source.club_id = %s OFFSET 0
           ) AS near
     WHERE run.club_id = %s AND run.id = ANY(%s) AND run.attempt_external_id <> ''
    UNION ALL
    SELECT run.id, near.*
      FROM approaches_gaterun AS run
     CROSS JOIN LATERAL (
           SELECT attempt.id, attempt.athlete_id, true, cardinality(attempt.gate_at_m) > 0
             FROM approaches_attempt AS attempt
            WHERE attempt.club_id = %s AND attempt.athlete_id = run.athlete_id
              AND attempt.started_at BETWEEN run.started_at - {_NEAR}
                                         AND run.started_at + {_NEAR}
              AND attempt.voided_at IS NULL OFFSET 0
           ) AS near
     WHERE run.club_id = %s AND run.id = ANY(%s) AND run.attempt_external_id = ''
"""
_FILL = """
    UPDATE approaches_attempt AS attempt SET gate_at_m = run.at_m, gate_time_s = run.time_s
      FROM unnest(%s::uuid[], %s::uuid[]) AS pair (run_id, attempt_id)
      JOIN approaches_gaterun AS run ON run.club_id = %s AND run.id = pair.run_id
     WHERE attempt.club_id = %s AND attempt.id = pair.attempt_id
"""
_NOTE_MATCHES = """
    UPDATE approaches_gaterun AS run
       SET attempt_id = pair.attempt_id, matched_by = pair.matched_by, matched_at = now(),
           unmatched_because = NULL
      FROM unnest(%s::uuid[], %s::uuid[], %s::text[]) AS pair (run_id, attempt_id, matched_by)
     WHERE run.club_id = %s AND run.id = pair.run_id
"""
_NOTE_REASONS = """
    UPDATE approaches_gaterun AS run SET unmatched_because = pair.reason
      FROM unnest(%s::uuid[], %s::text[]) AS pair (run_id, reason)
     WHERE run.club_id = %s AND run.id = pair.run_id AND run.unmatched_because <> pair.reason
"""


class Placed(Protocol):
    """An attempt, as far as gate runs look for it."""

    @property
    def athlete_id(self) -> UUID: ...

    @property
    def started_at(self) -> datetime: ...

    @property
    def external_id(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Newcomer:
    """An attempt without gates that was stored just now."""

    athlete_id: UUID
    started_at: datetime
    external_id: str


@dataclass(frozen=True, slots=True)
class Candidate:
    """An attempt that a gate run may belong to."""

    attempt_id: UUID
    athlete_id: UUID
    of_own_source: bool
    has_gates: bool


@dataclass(frozen=True, slots=True)
class Match:
    """A gate run and the attempt whose gates it fills."""

    run: GateRun
    attempt: Attempt
    matched_by: MatchedBy


def take_turn(club: Club, *, alone: bool = False) -> None:
    """Let what brings gate runs, `alone`, and what brings attempts wait for each other.

    Without it a run and its attempt that are stored at the same moment would not see each other,
    and both would wait for ever. Attempts do not wait for attempts. It ends with the transaction;
    take it before locking rows.
    """
    with connection.cursor() as cursor:
        cursor.execute(_TAKE_TURN.format("" if alone else "_shared"), [str(club.id)])


def match_attempts(*, club: Club, attempts: Sequence[Placed], caller: Caller | None) -> None:
    """Look for gate runs that wait for these attempts, which are stored."""
    if not attempts:
        return
    take_turn(club)
    starts: dict[UUID, list[datetime]] = {}
    for attempt in attempts:
        starts.setdefault(attempt.athlete_id, []).append(attempt.started_at)
    for moments in starts.values():
        moments.sort()
    first = min(moments[0] for moments in starts.values())
    last = max(moments[-1] for moments in starts.values())
    names = [attempt.external_id for attempt in attempts]
    with connection.cursor() as cursor:
        cursor.execute(_WAITING, [club.id, first - NEAR, last + NEAR, club.id, names])
        run_ids = [
            run_id
            for run_id, athlete_id, started_at in cursor.fetchall()
            if started_at is None or _is_near(started_at, starts.get(athlete_id, []))
        ]
    if run_ids:
        match_runs(club=club, run_ids=run_ids, caller=caller)


def match_runs(*, club: Club, run_ids: Sequence[UUID], caller: Caller | None) -> None:
    """Look for the attempts of these gate runs; call it in the turn of `take_turn`, alone.

    What cannot be matched says why. A run that a person parted from its attempt is left to people.
    """
    runs = list(
        GateRun.objects.select_for_update(no_key=True)
        .filter(id__in=run_ids, attempt=None)
        .exclude(unmatched_because=Unmatched.BY_HAND)
        .order_by("id")
    )
    if not runs:
        return
    candidates = _read_candidates(club, [run.id for run in runs])
    found = {run.id: _choose(run, candidates.get(run.id, [])) for run in runs}
    wanted = Counter(choice for choice in found.values() if not isinstance(choice, str))
    reasons: dict[UUID, str] = {}
    chosen: list[tuple[GateRun, UUID]] = []
    for run in runs:
        choice = found[run.id]
        if isinstance(choice, str):
            reasons[run.id] = choice
        elif wanted[choice] > 1:
            reasons[run.id] = Unmatched.AMBIGUOUS.value
        else:
            chosen.append((run, choice))
    attempts = lock_attempts([attempt_id for _, attempt_id in chosen])
    matches = []
    for run, attempt_id in chosen:
        attempt = attempts[attempt_id]
        if attempt.voided_at is not None:
            reasons[run.id] = Unmatched.WAITING.value
        elif attempt.gate_at_m:
            reasons[run.id] = Unmatched.GATES_FILLED.value
        else:
            how = MatchedBy.NAME if run.attempt_external_id else MatchedBy.TIME
            matches.append(Match(run, attempt, how))
    faults = check_matches(matches)
    reasons |= {run_id: found[0].code for run_id, found in faults.items()}
    fill_gates(
        club=club,
        matches=[match for match in matches if match.run.id not in faults],
        caller=caller,
    )
    _note_reasons(club, reasons)


def lock_attempts(attempt_ids: Sequence[UUID]) -> dict[UUID, Attempt]:
    """Return the attempts, locked in the order of their ids so that two pushes never cross."""
    rows = Attempt.objects.select_for_update(no_key=True).filter(id__in=attempt_ids).order_by("id")
    return {attempt.id: attempt for attempt in rows}


def check_matches(matches: Sequence[Match]) -> dict[UUID, list[Fault]]:
    """Return which rules of an attempt its gates would break, by the id of the gate run."""
    readings = [
        msgspec.structs.replace(
            stored.reading_of(match.attempt),
            gates=stored.gates_of(match.run.at_m, match.run.time_s),
        )
        for match in matches
    ]
    faults = check_readings(readings, columns_of(readings)) if readings else {}
    # What else an attempt of an earlier release may break is no fault of its gates.
    of_gates = {
        place: [fault for fault in found if fault.pointer.startswith("/gates")]
        for place, found in faults.items()
    }
    return {matches[place].run.id: found for place, found in of_gates.items() if found}


def fill_gates(*, club: Club, matches: Sequence[Match], caller: Caller | None) -> None:
    """Fill the empty gates of attempts that the caller has locked and checked."""
    if not matches:
        return
    versions.keep_formers(
        club=club,
        formers=[
            versions.Former(
                match.attempt,
                match.run.source_id if caller is None else versions.actor_of(caller),
                f"Gate run {match.run.external_id}.",
            )
            for match in matches
        ],
        kind=ChangeKind.GATES_FILLED,
        columns=GATE_COLUMNS,
    )
    run_ids = [match.run.id for match in matches]
    attempt_ids = [match.attempt.id for match in matches]
    with connection.cursor() as cursor:
        cursor.execute(_FILL, [run_ids, attempt_ids, club.id, club.id])
        cursor.execute(
            _NOTE_MATCHES,
            [run_ids, attempt_ids, [match.matched_by.value for match in matches], club.id],
        )
    storing.mark_attempts_changed(club=club, attempts=[match.attempt for match in matches])
    auditing.record_audit(
        club=club,
        caller=caller,
        action="gate_runs_matched",
        subjects={"gate_run": run_ids, "attempt": attempt_ids},
        field_names=versions.wire_names(GATE_COLUMNS),
    )


def _read_candidates(club: Club, run_ids: Sequence[UUID]) -> Mapping[UUID, list[Candidate]]:
    candidates: dict[UUID, list[Candidate]] = {}
    with connection.cursor() as cursor:
        of_runs: list[Any] = [club.id, club.id, list(run_ids)]
        cursor.execute(_CANDIDATES, [*of_runs, *of_runs])
        for run_id, *columns in cursor.fetchall():
            candidates.setdefault(run_id, []).append(Candidate(*columns))
    return candidates


def _choose(run: GateRun, candidates: Sequence[Candidate]) -> UUID | str:
    """Return the one attempt that fits, or the word for why there is none."""
    own = [candidate for candidate in candidates if candidate.of_own_source]
    fitting = own or list(candidates)
    if not fitting:
        return Unmatched.WAITING.value
    if len(fitting) > 1:
        return Unmatched.AMBIGUOUS.value
    (only,) = fitting
    if run.athlete_id not in {None, only.athlete_id}:
        return Unmatched.OTHER_ATHLETE.value
    return Unmatched.GATES_FILLED.value if only.has_gates else only.attempt_id


def _is_near(moment: datetime, starts: Sequence[datetime]) -> bool:
    """Answer whether one of the sorted starts lies within the ten seconds."""
    place = bisect_left(starts, moment - NEAR)
    return place < len(starts) and starts[place] <= moment + NEAR


def _note_reasons(club: Club, reasons: Mapping[UUID, str]) -> None:
    if reasons:
        with connection.cursor() as cursor:
            cursor.execute(_NOTE_REASONS, [list(reasons), list(reasons.values()), club.id])
