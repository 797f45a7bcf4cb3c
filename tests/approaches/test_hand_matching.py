"""People say which attempt a gate run belongs to, and that it does not."""

from datetime import date
from typing import Any

import pytest

from approaches.errors import (
    AlreadyMatchedError,
    AlreadyVoidedError,
    GatesFilledError,
    NotMatchedError,
    RefusedMatchError,
    UnknownAttemptError,
)
from approaches.models import Attempt, AttemptVersion, GateRun
from approaches.services import correcting, hand_matching
from approaches.services.changes import Correction
from approaches.services.forms import read_form
from athletes.services import coaching
from clubs.models import AuditEntry, Role
from clubs.selectors import Caller, find_caller
from common.club_scope import club_scope
from common.errors import NotFoundError
from common.versions import ANY_VERSION
from tests.approaches.conftest import Scene
from tests.factories import (
    make_athlete,
    make_attempt,
    make_caller,
    make_gate_run,
    make_member,
    make_person_token,
)

LATER = "2026-05-02T10:00:00+02:00"
AT_M, TIME_S = [31, 11, 6, 1], [1.052, 4.154, 4.700, 5.241]


@pytest.fixture
def admin(scene: Scene) -> Caller:
    return make_caller(scene.club)


@pytest.fixture
def attempt(scene: Scene) -> Attempt:
    return make_attempt(scene.source, scene.athlete, scene.session, gates=None)


@pytest.fixture
def run(scene: Scene) -> GateRun:
    """Return a run that came too late to be matched by itself."""
    return make_gate_run(scene.source, scene.athlete, started_at=LATER)


def match(run: GateRun, attempt: Attempt, caller: Caller) -> GateRun:
    return hand_matching.match_by_hand(
        club=caller.club, run_id=run.id, attempt_id=attempt.id, caller=caller
    )


def unmatch(run: GateRun, caller: Caller) -> GateRun:
    return hand_matching.unmatch(
        club=caller.club, run_id=run.id, reason="The next athlete's run.", caller=caller
    )


def change(attempt: Attempt, caller: Caller, **changes: Any) -> None:
    correction = read_form({"changes": changes, "reason": "Misread."}, Correction)
    correcting.correct_attempt(
        club=caller.club,
        attempt_id=attempt.id,
        expected=ANY_VERSION,
        changes=correction.changes,
        reason=correction.reason,
        caller=caller,
    )


def now(attempt: Attempt) -> Attempt:
    with club_scope(attempt.club_id):
        return Attempt.objects.get(id=attempt.id)


def kinds(attempt: Attempt) -> list[str]:
    with club_scope(attempt.club_id):
        versions = AttemptVersion.objects.filter(attempt=attempt).order_by("version")
        return [version.kind for version in versions]


class TestMatching:
    def test_fills_the_gates_whatever_the_time_says(
        self, attempt: Attempt, run: GateRun, admin: Caller
    ):
        matched = match(run, attempt, admin)

        assert (matched.attempt_id, matched.matched_by) == (attempt.id, "hand")
        assert matched.matched_at is not None
        assert (now(attempt).gate_at_m, now(attempt).gate_time_s) == (AT_M, TIME_S)
        assert kinds(attempt) == ["gates_filled"]

    def test_takes_a_run_of_nobody_in_particular(
        self, scene: Scene, attempt: Attempt, admin: Caller
    ):
        assert match(make_gate_run(scene.source), attempt, admin).attempt_id == attempt.id

    def test_said_twice_is_said_once(self, attempt: Attempt, run: GateRun, admin: Caller):
        match(run, attempt, admin)

        again = match(run, attempt, admin)

        assert again.attempt_id == attempt.id
        assert kinds(attempt) == ["gates_filled"]

    def test_is_kept_under_who_did_it(
        self, scene: Scene, attempt: Attempt, run: GateRun, admin: Caller
    ):
        match(run, attempt, admin)

        with club_scope(scene.club):
            assert AttemptVersion.objects.get().replaced_by == admin.token_id
            entries = AuditEntry.objects.filter(action="gate_runs_matched")
            assert {entry.actor_id for entry in entries} == {admin.token_id}


class TestRefusing:
    def test_a_run_that_has_another_attempt(
        self, scene: Scene, attempt: Attempt, run: GateRun, admin: Caller
    ):
        match(run, attempt, admin)
        other = make_attempt(scene.source, scene.athlete, scene.session, gates=None)

        with pytest.raises(AlreadyMatchedError):
            match(run, other, admin)

    def test_an_attempt_that_has_gates(self, scene: Scene, run: GateRun, admin: Caller):
        filled = make_attempt(scene.source, scene.athlete, scene.session)

        with pytest.raises(GatesFilledError):
            match(run, filled, admin)

    def test_an_attempt_that_was_voided(self, attempt: Attempt, run: GateRun, admin: Caller):
        correcting.void_attempt(
            club=admin.club,
            attempt_id=attempt.id,
            expected=ANY_VERSION,
            reason="Sent twice.",
            caller=admin,
        )

        with pytest.raises(AlreadyVoidedError):
            match(run, attempt, admin)

    def test_gates_that_break_a_rule_of_the_attempt(
        self, scene: Scene, attempt: Attempt, admin: Caller
    ):
        run = make_gate_run(scene.source, scene.athlete, started_at=LATER, at_m=[4.5], time_s=[5.3])

        with pytest.raises(RefusedMatchError) as refused:
            match(run, attempt, admin)

        assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [
            ("/attempt", "gate_off_clock")
        ]
        assert now(attempt).gate_at_m == []

    def test_strangers(self, scene: Scene, attempt: Attempt, run: GateRun):
        member = make_member(scene.club, Role.COACH)
        coach = find_caller(make_person_token(member))
        with pytest.raises(NotFoundError):
            match(run, attempt, coach)
        with pytest.raises(UnknownAttemptError):
            match(make_gate_run(scene.source), attempt, coach)
        coaching.assign_coach(
            club=scene.club, coach=member, athlete=scene.athlete, from_date=date(2026, 1, 1)
        )

        assert match(run, attempt, coach).attempt_id == attempt.id

        strangers_run = make_gate_run(scene.source, make_athlete(scene.club))
        other = make_attempt(scene.source, scene.athlete, scene.session, gates=None)
        with pytest.raises(NotFoundError):
            match(strangers_run, other, coach)


class TestUnmatching:
    def test_takes_the_gates_with_it(self, attempt: Attempt, run: GateRun, admin: Caller):
        match(run, attempt, admin)

        parted = unmatch(run, admin)

        assert (parted.attempt_id, parted.unmatched_because) == (None, "by_hand")
        assert (parted.matched_by, parted.matched_at) == (None, None)
        assert now(attempt).gate_at_m == []
        assert now(attempt).version == 3
        assert kinds(attempt) == ["gates_filled", "gates_removed"]

    def test_leaves_gates_that_were_corrected_since(
        self, attempt: Attempt, run: GateRun, admin: Caller
    ):
        match(run, attempt, admin)
        change(attempt, admin, gates={"at_m": [11, 6], "time_s": [4.154, 4.700]})

        unmatch(run, admin)

        assert now(attempt).gate_at_m == [11, 6]

    def test_is_not_undone_by_what_comes_later(self, scene: Scene, admin: Caller):
        started_at = "2026-05-02T09:14:07.250+02:00"
        attempt = make_attempt(
            scene.source, scene.athlete, scene.session, started_at=started_at, gates=None
        )
        run = make_gate_run(scene.source, scene.athlete, started_at=started_at)
        unmatch(run, admin)

        change(attempt, admin, started_at="2026-05-02T09:14:08+02:00")
        later = make_attempt(
            scene.source,
            scene.athlete,
            scene.session,
            started_at="2026-05-02T09:14:10+02:00",
            gates=None,
        )

        assert now(attempt).gate_at_m == now(later).gate_at_m == []

    def test_lets_the_run_be_matched_anew(
        self, scene: Scene, attempt: Attempt, run: GateRun, admin: Caller
    ):
        right = make_attempt(scene.source, scene.athlete, scene.session, gates=None)
        match(run, attempt, admin)
        unmatch(run, admin)

        assert match(run, right, admin).attempt_id == right.id

    def test_said_twice_is_said_once(self, attempt: Attempt, run: GateRun, admin: Caller):
        match(run, attempt, admin)
        unmatch(run, admin)

        assert unmatch(run, admin).unmatched_because == "by_hand"
        assert now(attempt).version == 3

    def test_refuses_a_run_that_has_no_attempt(self, run: GateRun, admin: Caller):
        with pytest.raises(NotMatchedError):
            unmatch(run, admin)
