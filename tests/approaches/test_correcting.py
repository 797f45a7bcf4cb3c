"""Correcting and voiding: the attempt becomes right, and what it was is kept."""

from datetime import UTC, datetime
from typing import Any

import pytest

from approaches.errors import AlreadyVoidedError, RefusedCorrectionError
from approaches.models import Attempt, AttemptVersion, PendingRefresh
from approaches.services import correcting, pushing
from approaches.services.changes import Correction
from approaches.services.forms import read_form
from athletes.services import coaching
from clubs.models import AuditEntry, Role
from clubs.selectors import Caller, find_caller
from common.club_scope import club_scope
from common.errors import InvalidInputError, NotFoundError, StaleVersionError
from common.versions import ANY_VERSION, Expected
from tests.approaches.conftest import Scene
from tests.factories import (
    make_approach,
    make_athlete,
    make_attempt,
    make_caller,
    make_member,
    make_person_token,
    make_plan,
    make_reading,
    make_session,
    rows_of,
)


@pytest.fixture
def admin(scene: Scene) -> Caller:
    return make_caller(scene.club)


@pytest.fixture
def attempt(scene: Scene) -> Attempt:
    stored = make_attempt(scene.source, scene.athlete, scene.session)
    with club_scope(scene.club):
        PendingRefresh.objects.all().delete()
    return stored


def correct(attempt: Attempt, caller: Caller, /, **changes: Any) -> Attempt:
    sent = {"changes": changes, "reason": "Misread from the sheet."}
    correction = read_form(sent, Correction)
    return correcting.correct_attempt(
        club=caller.club,
        attempt_id=attempt.id,
        expected=Expected(frozenset({attempt.version})),
        changes=correction.changes,
        reason=correction.reason,
        caller=caller,
    )


def void(attempt: Attempt, caller: Caller) -> Attempt:
    return correcting.void_attempt(
        club=caller.club,
        attempt_id=attempt.id,
        expected=Expected(frozenset({attempt.version})),
        reason="The gate was triggered twice.",
        caller=caller,
    )


def stored(attempt: Attempt) -> Attempt:
    with club_scope(attempt.club_id):
        return Attempt.objects.get(id=attempt.id)


def former(attempt: Attempt) -> list[AttemptVersion]:
    with club_scope(attempt.club_id):
        return list(AttemptVersion.objects.filter(attempt=attempt).order_by("version"))


def pending(scene: Scene) -> dict[tuple[Any, str], datetime]:
    with club_scope(scene.club):
        return {
            (row.approach_id, row.finish_class): row.first_changed_at
            for row in PendingRefresh.objects.all()
        }


class TestCorrecting:
    def test_changes_what_is_named_and_nothing_else(self, attempt: Attempt, admin: Caller):
        corrected = correct(attempt, admin, wind_mps=-0.3, official_m="6.14")

        now = stored(attempt)
        assert (now.wind_mps, str(now.official_m)) == (-0.3, "6.14")
        assert now.toe_m == attempt.toe_m
        assert now.started_at == attempt.started_at
        assert (corrected.version, now.version) == (2, 2)

    def test_keeps_what_the_attempt_was(self, attempt: Attempt, admin: Caller):
        correct(attempt, admin, wind_mps=-0.3)
        correct(stored(attempt), admin, wind_mps=None)

        first, second = former(attempt)
        assert (first.version, first.former["wind_mps"]) == (1, 0.8)
        assert (second.version, second.former["wind_mps"]) == (2, -0.3)
        assert first.former["footfalls"]["toe_m"] == [0.07, 2.21, 4.58]
        assert first.former["official_m"] == "6.41"
        assert (first.kind, first.field_names) == ("corrected", ["wind_mps"])
        assert (first.reason, first.replaced_by) == ("Misread from the sheet.", admin.token_id)
        assert stored(attempt).wind_mps is None

    def test_changes_one_array_and_leaves_the_others(self, attempt: Attempt, admin: Caller):
        correct(attempt, admin, footfalls={"toe_m": [0.17, None, 4.58]})

        now = stored(attempt)
        assert now.toe_m[0] == 0.17
        assert now.touchdown_s == attempt.touchdown_s
        assert former(attempt)[0].field_names == ["footfalls.toe_m"]

    def test_adds_footfalls_to_an_attempt_with_fewer(
        self, scene: Scene, attempt: Attempt, admin: Caller
    ):
        short = make_attempt(
            scene.source, scene.athlete, scene.session, footfalls={"toe_m": [0.07]}, gates=None
        )

        correct(short, admin, footfalls={"toe_m": [0.07, 2.21]})

        now = stored(short)
        assert now.toe_m == [0.07, 2.21]
        assert len(now.touchdown_s) == len(now.contact) == 2

    def test_moves_the_attempt_to_another_session(
        self, scene: Scene, attempt: Attempt, admin: Caller
    ):
        other = make_session(scene.club, code="afternoon")

        correct(attempt, admin, session="afternoon")

        assert stored(attempt).session_id == other.id

    def test_takes_gates_away(self, attempt: Attempt, admin: Caller):
        correct(attempt, admin, gates=None)

        assert stored(attempt).gate_at_m == []

    def test_to_what_it_is_already_is_no_change(self, attempt: Attempt, admin: Caller):
        same = correct(
            attempt, admin, wind_mps=0.8, official_m=6.41, started_at="2026-05-02T07:14:07.250Z"
        )

        assert same.version == 1
        assert former(attempt) == []

    def test_notes_who_and_which_fields_but_no_values(
        self, scene: Scene, attempt: Attempt, admin: Caller
    ):
        correct(attempt, admin, official_m="6.14", footfalls={"toe_m": [0.17, 2.21, 4.58]})

        with club_scope(scene.club):
            entry = AuditEntry.objects.get(action="attempt_corrected")
        assert (entry.actor_id, entry.subject_ids) == (admin.token_id, [attempt.id])
        assert entry.field_names == ["footfalls.toe_m", "official_m"]
        assert entry.counts == {}

    def test_leaves_what_the_source_sent_known(self, scene: Scene, attempt: Attempt, admin: Caller):
        reading = make_reading(scene.athlete, scene.session, external_id="sent-once")
        rows = rows_of(reading)
        pushing.record_attempts(club=scene.club, source_id=scene.source.id, rows=rows)
        with club_scope(scene.club):
            pushed = Attempt.objects.get(external_id="sent-once")
        correct(pushed, admin, wind_mps=-0.3)

        outcome = pushing.record_attempts(club=scene.club, source_id=scene.source.id, rows=rows)

        assert (outcome.known, outcome.conflicts) == (1, 0)
        assert stored(pushed).wind_mps == -0.3


class TestWhatIsDecidedAgain:
    def test_the_plan_that_was_valid_at_the_new_start(
        self, scene: Scene, attempt: Attempt, admin: Caller
    ):
        later = make_plan(scene.approach, revision=2, valid_from=datetime(2026, 5, 3, tzinfo=UTC))

        correct(attempt, admin, started_at="2026-05-04T09:00:00Z")

        assert stored(attempt).plan_id == later.id
        assert former(attempt)[0].field_names == ["plan", "started_at"]

    def test_the_plan_that_was_written_down_afterwards(
        self, scene: Scene, attempt: Attempt, admin: Caller
    ):
        late = make_plan(scene.approach, revision=2, valid_from=datetime(2026, 5, 1, tzinfo=UTC))

        correct(attempt, admin)

        assert stored(attempt).plan_id == late.id

    def test_whether_it_belongs_to_its_series(self, attempt: Attempt, admin: Caller):
        # Planned 34.20 m over 16 steps: half a mean step is 1.07 m.
        correct(attempt, admin, start_mark_m=35.40)
        assert stored(attempt).left_out == "wrong_step_count"

        correct(stored(attempt), admin, start_mark_m=34.20)
        assert stored(attempt).left_out is None

    def test_the_approach_of_the_right_athlete(self, scene: Scene, attempt: Attempt, admin: Caller):
        benno = make_athlete(scene.club, code="A-Benno")
        approach = make_approach(benno, code=scene.approach.code)

        correct(attempt, admin, athlete="ext:A-Benno")

        now = stored(attempt)
        assert (now.athlete_id, now.approach_id, now.plan_id) == (benno.id, approach.id, None)


class TestWhatIsComputedAgain:
    def test_the_series_from_the_attempt_on(self, scene: Scene, attempt: Attempt, admin: Caller):
        correct(attempt, admin, wind_mps=0.1)

        assert pending(scene) == {(scene.approach.id, "jump"): attempt.started_at}

    def test_both_series_from_the_earlier_start_on(
        self, scene: Scene, attempt: Attempt, admin: Caller
    ):
        earlier = "2026-05-01T07:00:00Z"

        correct(attempt, admin, finish="run_through", started_at=earlier)

        since = datetime.fromisoformat(earlier)
        assert pending(scene) == {
            (scene.approach.id, "jump"): since,
            (scene.approach.id, "run_through"): since,
        }

    def test_the_series_that_the_attempt_left(self, scene: Scene, attempt: Attempt, admin: Caller):
        correct(attempt, admin, outcome="baulk", official_m=None)

        assert stored(attempt).left_out == "baulk"
        assert pending(scene) == {(scene.approach.id, "jump"): attempt.started_at}

    def test_nothing_for_an_attempt_that_is_left_out_as_before(self, scene: Scene, admin: Caller):
        drill = make_attempt(scene.source, scene.athlete, scene.session, phases=["acceleration"])

        correct(drill, admin, wind_mps=0.1)

        assert pending(scene) == {}


class TestRefusing:
    @pytest.mark.parametrize(
        ("changes", "pointer", "code"),
        [
            ({"wind_mps": 99}, "/changes/wind_mps", "wind_out_of_range"),
            (
                {"footfalls": {"toe_m": [0.07, 0.05, 4.58]}},
                "/changes/footfalls/toe_m/1",
                "positions_must_grow",
            ),
            ({"footfalls": {"toe_m": [0.07]}}, "/changes/footfalls", "unequal_lengths"),
            ({"outcome": "no_jump"}, "/changes/official_m", "official_without_valid"),
            ({"start_mark_m": 20.0}, "/changes/gates/at_m/0", "gate_off_runway"),
            ({"session": "never-held"}, "/changes/session", "unknown_session"),
            ({"athlete": "ext:nobody"}, "/changes/athlete", "unknown_athlete"),
            ({"approach": "LJ-99"}, "/changes/approach", "unknown_approach"),
        ],
    )
    def test_names_the_rule_of_a_push_that_would_be_broken(
        self, scene: Scene, attempt: Attempt, admin: Caller, changes: Any, pointer: str, code: str
    ):
        with pytest.raises(RefusedCorrectionError) as refused:
            correct(attempt, admin, **changes)

        first = refused.value.faults[0]
        assert (first.pointer, first.code) == (pointer, code)
        assert stored(attempt).version == 1
        assert former(attempt) == []
        assert pending(scene) == {}

    @pytest.mark.parametrize(
        ("changes", "pointer", "code"),
        [
            ({"external_id": "other"}, "/changes/external_id", "unknown_field"),
            ({"plan": None}, "/changes/plan", "unknown_field"),
            ({"finish": None}, "/changes/finish", "wrong_type"),
            ({"started_at": "2026-05-02T09:00:00"}, "/changes/started_at", "time_without_zone"),
            ({"footfalls": {"toe": []}}, "/changes/footfalls/toe", "unknown_field"),
            ({"gates": {"at_m": []}}, "/changes/gates/time_s", "required"),
        ],
    )
    def test_names_the_field_that_cannot_be_read(
        self, attempt: Attempt, admin: Caller, changes: Any, pointer: str, code: str
    ):
        with pytest.raises(InvalidInputError) as refused:
            correct(attempt, admin, **changes)

        assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [(pointer, code)]

    def test_goes_on_from_the_current_version_only(self, attempt: Attempt, admin: Caller):
        correct(attempt, admin, wind_mps=0.1)

        with pytest.raises(StaleVersionError):
            correct(attempt, admin, wind_mps=0.2)

        assert stored(attempt).wind_mps == 0.1

    def test_hides_strangers_from_a_coach(self, scene: Scene, attempt: Attempt):
        member = make_member(scene.club, Role.COACH)
        coach = find_caller(make_person_token(member))
        with pytest.raises(NotFoundError):
            correct(attempt, coach, wind_mps=0.1)
        coaching.assign_coach(
            club=scene.club,
            coach=member,
            athlete=scene.athlete,
            from_date=datetime(2026, 1, 1, tzinfo=UTC).date(),
        )

        assert correct(attempt, coach, wind_mps=0.1).version == 2

        stranger = make_athlete(scene.club, code="A-Benno")
        make_approach(stranger, code=scene.approach.code)
        with pytest.raises(RefusedCorrectionError) as refused:
            correct(stored(attempt), coach, athlete="ext:A-Benno")
        assert refused.value.faults[0].code == "unknown_athlete"


class TestVoiding:
    def test_lets_the_attempt_count_no_more_and_keeps_it(
        self, scene: Scene, attempt: Attempt, admin: Caller
    ):
        void(attempt, admin)

        now = stored(attempt)
        assert now.voided_at is not None
        assert (now.version, now.toe_m) == (2, attempt.toe_m)
        (version,) = former(attempt)
        assert (version.kind, version.field_names) == ("voided", ["voided_at"])
        assert version.reason == "The gate was triggered twice."
        assert pending(scene) == {(scene.approach.id, "jump"): attempt.started_at}

    def test_is_noted_in_the_audit(self, scene: Scene, attempt: Attempt, admin: Caller):
        void(attempt, admin)

        with club_scope(scene.club):
            entry = AuditEntry.objects.get(action="attempt_voided")
        assert (entry.subject_ids, entry.field_names) == ([attempt.id], ["voided_at"])

    def test_is_not_undone_by_sending_the_attempt_again(self, scene: Scene, admin: Caller):
        rows = rows_of(make_reading(scene.athlete, scene.session, external_id="sent-twice"))
        pushing.record_attempts(club=scene.club, source_id=scene.source.id, rows=rows)
        with club_scope(scene.club):
            pushed = Attempt.objects.get(external_id="sent-twice")
        void(pushed, admin)

        outcome = pushing.record_attempts(club=scene.club, source_id=scene.source.id, rows=rows)

        assert (outcome.known, outcome.created) == (1, 0)
        assert stored(pushed).voided_at is not None

    def test_happens_once_and_ends_corrections(self, attempt: Attempt, admin: Caller):
        voided = void(attempt, admin)

        with pytest.raises(AlreadyVoidedError):
            void(voided, admin)
        with pytest.raises(AlreadyVoidedError):
            correct(voided, admin, wind_mps=0.1)

    def test_goes_on_from_the_current_version_only(self, attempt: Attempt, admin: Caller):
        correct(attempt, admin, wind_mps=0.1)

        with pytest.raises(StaleVersionError):
            void(attempt, admin)

    def test_may_say_whatever_it_is_now(self, attempt: Attempt, admin: Caller):
        correct(attempt, admin, wind_mps=0.1)

        voided = correcting.void_attempt(
            club=admin.club,
            attempt_id=attempt.id,
            expected=ANY_VERSION,
            reason="Not this athlete.",
            caller=admin,
        )

        assert voided.version == 3
