"""Match gate runs to attempts by hand, and part them again."""

from uuid import UUID

from approaches import selectors
from approaches.errors import (
    AlreadyMatchedError,
    AlreadyVoidedError,
    GatesFilledError,
    NotMatchedError,
    RefusedMatchError,
    UnknownAttemptError,
)
from approaches.models import Attempt, ChangeKind, GateRun, MatchedBy, Unmatched
from approaches.services import matching, storing, versions
from approaches.services.matching import GATE_COLUMNS, Match
from clubs.models import Club
from clubs.selectors import Caller, today_at
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, NotFoundError


def match_by_hand(*, club: Club, run_id: UUID, attempt_id: UUID, caller: Caller) -> GateRun:
    """Fill an attempt's empty gates from a gate run that a person says is its own.

    Whose run it was said to be, and when, does not matter: the person knows better.

    Raises
    ------
    NotFoundError, UnknownAttemptError
        There is no such run or attempt, or it is a stranger's.
    AlreadyMatchedError
        The run belongs to another attempt.
    AlreadyVoidedError
        The attempt does not count any more.
    GatesFilledError
        The attempt has gates already.
    RefusedMatchError
        With these gates the attempt would break a rule.
    """
    with club_scope(club):
        run = _lock_run(club, run_id, caller=caller)
        attempts = selectors.list_attempts_for(caller, today=today_at(club))
        if not attempts.filter(id=attempt_id).exists():
            raise UnknownAttemptError
        if run.attempt_id == attempt_id:
            return run
        if run.attempt_id is not None:
            raise AlreadyMatchedError("Unmatch it first.")
        attempt = matching.lock_attempts([attempt_id])[attempt_id]
        if attempt.voided_at is not None:
            raise AlreadyVoidedError
        if attempt.gate_at_m:
            raise GatesFilledError
        match = Match(run, attempt, MatchedBy.HAND)
        faults = matching.check_matches([match]).get(run.id, [])
        if faults:
            raise RefusedMatchError(
                faults[0].detail,
                faults=[Fault("/attempt", fault.code, fault.detail) for fault in faults],
            )
        matching.fill_gates(club=club, matches=[match], caller=caller)
        run.refresh_from_db()
        return run


def unmatch(*, club: Club, run_id: UUID, reason: str, caller: Caller) -> GateRun:
    """Part a gate run from its attempt, which loses the gates unless they were corrected since.

    From then on it is matched by hand only: what matched it wrongly would do so again.

    Raises
    ------
    NotFoundError
        There is no such run, or it is a stranger's.
    NotMatchedError
        It belongs to no attempt.
    """
    with club_scope(club):
        run = _lock_run(club, run_id, caller=caller)
        if run.unmatched_because == Unmatched.BY_HAND:
            return run
        if run.attempt_id is None:
            raise NotMatchedError
        attempt = matching.lock_attempts([run.attempt_id])[run.attempt_id]
        if (attempt.gate_at_m, attempt.gate_time_s) == (run.at_m, run.time_s):
            _empty_gates(club, attempt, reason=reason, caller=caller)
        GateRun.objects.filter(id=run.id).update(
            attempt=None,
            matched_by=None,
            matched_at=None,
            unmatched_because=Unmatched.BY_HAND,
        )
        auditing.record_audit(
            club=club,
            caller=caller,
            action="gate_run_unmatched",
            subjects={"gate_run": [run.id], "attempt": [attempt.id]},
        )
        run.refresh_from_db()
        return run


def _lock_run(club: Club, run_id: UUID, *, caller: Caller) -> GateRun:
    matching.take_turn(club, alone=True)
    runs = selectors.list_gate_runs_for(caller, today=today_at(club))
    run = runs.select_for_update(no_key=True, of=("self",)).filter(id=run_id).first()
    if run is None:
        raise NotFoundError
    return run


def _empty_gates(club: Club, attempt: Attempt, *, reason: str, caller: Caller) -> None:
    versions.keep_formers(
        club=club,
        formers=[versions.Former(attempt, versions.actor_of(caller), reason)],
        kind=ChangeKind.GATES_REMOVED,
        columns=GATE_COLUMNS,
    )
    Attempt.objects.filter(id=attempt.id).update(gate_at_m=[], gate_time_s=[])
    storing.mark_attempts_changed(club=club, attempts=[attempt])
