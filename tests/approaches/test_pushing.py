"""Pushing: each row stored once, or refused with the reason."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import numpy as np
import pytest

from approaches.errors import ConflictingRowError, RefusedBatchError, RefusedRowError
from approaches.models import Attempt, PendingRefresh, QuarantinedRow, Session
from approaches.services import pushing, recording
from clubs.errors import RevokedSourceError
from clubs.models import AuditEntry, Source
from common.club_scope import club_scope
from tests.approaches.conftest import Scene
from tests.factories import make_approach, make_athlete, make_plan, make_reading, rows_of


def push(scene: Scene, *readings: dict[str, Any], **options: Any) -> recording.RecordOutcome:
    return pushing.record_attempts(
        club=scene.club, source_id=scene.source.id, rows=rows_of(*readings), **options
    )


def counts(outcome: recording.RecordOutcome) -> tuple[int, int, int, int]:
    return outcome.created, outcome.known, outcome.conflicts, outcome.rejected


class TestStoring:
    def test_keeps_every_field_as_sent(self, scene: Scene):
        push(scene, make_reading(scene.athlete, scene.session, external_id="run-1"))

        with club_scope(scene.club):
            attempt = Attempt.objects.get(external_id="run-1")
        assert attempt.started_at == datetime(2026, 5, 2, 7, 14, 7, 250_000, tzinfo=UTC)
        assert (attempt.athlete_id, attempt.approach_id) == (scene.athlete.id, scene.approach.id)
        assert (attempt.plan_id, attempt.session_id) == (scene.plan.id, scene.session.id)
        assert (attempt.finish, attempt.outcome) == ("jump", "valid")
        assert attempt.phases == ["acceleration", "transition", "attack"]
        assert (attempt.start_mark_m, attempt.wind_mps) == (34.20, 0.8)
        assert str(attempt.official_m) == "6.41"
        assert attempt.toe_m == [0.07, 2.21, 4.58]
        assert attempt.touchdown_s == [5.312, 5.080, 4.826]
        assert attempt.toe_off_s == [5.428, 5.181, 4.935]
        assert attempt.contact == ["flat", "flat", "ball"]
        assert attempt.gate_at_m == [31, 11, 6, 1]
        assert attempt.gate_time_s == [1.052, 4.154, 4.700, 5.241]
        assert (attempt.left_out, attempt.version, attempt.voided_at) == (None, 1, None)

    def test_stores_unknown_footfalls_as_nan_and_absent_arrays_alike(self, scene: Scene):
        push(
            scene,
            make_reading(
                scene.athlete,
                scene.session,
                footfalls={"toe_m": [None, 2.2]},
                gates=None,
                official_m=None,
                wind_mps=None,
                start_mark_m=None,
            ),
        )

        with club_scope(scene.club):
            attempt = Attempt.objects.get()
        assert np.isnan(attempt.toe_m[0])
        assert attempt.toe_m[1] == 2.2
        assert np.isnan(attempt.touchdown_s).all()
        assert attempt.contact == [None, None]
        assert (attempt.gate_at_m, attempt.gate_time_s) == ([], [])
        assert (attempt.official_m, attempt.wind_mps, attempt.start_mark_m) == (None, None, None)

    @pytest.mark.parametrize(
        "fields",
        [
            {},
            {"footfalls": None, "gates": None, "official_m": None, "wind_mps": None},
            {"footfalls": {"toe_m": [-0.0, None], "contact": [None, "heel"]}, "official_m": "6.4"},
            {"outcome": "baulk", "official_m": None, "phases": ["acceleration"], "gates": None},
            {"start_mark_m": 31.07, "take_off_foot_ok": False, "wind_mps": -0.0},
        ],
        ids=["whole", "bare", "unknown values", "left out", "another start mark"],
    )
    def test_keeps_a_row_by_itself_as_it_keeps_it_among_others(
        self, scene: Scene, fields: dict[str, Any]
    ):
        """A single row travels in the statement, rows of a batch by COPY."""
        row = make_reading(scene.athlete, scene.session, **fields)
        other = make_reading(scene.athlete, scene.session)

        push(scene, {**row, "external_id": "alone"})
        push(scene, {**row, "external_id": "among others"}, other)

        with club_scope(scene.club):
            alone, among = (
                dict(Attempt.objects.filter(external_id=name).values().get())
                for name in ("alone", "among others")
            )
        differing = {"id", "external_id", "created_at"}
        assert {name: repr(alone[name]) for name in alone if name not in differing} == {
            name: repr(among[name]) for name in among if name not in differing
        }

    def test_queues_one_refresh_for_the_series_from_its_first_attempt(self, scene: Scene):
        early, late = "2026-05-02T08:00:00Z", "2026-05-02T09:00:00Z"

        push(
            scene,
            make_reading(scene.athlete, scene.session, started_at=late),
            make_reading(scene.athlete, scene.session, started_at=early, finish="pop_up"),
        )

        with club_scope(scene.club):
            pending = PendingRefresh.objects.get()
        assert (pending.approach_id, pending.finish_class) == (scene.approach.id, "jump")
        assert pending.first_changed_at == datetime(2026, 5, 2, 8, tzinfo=UTC)
        assert pending.revision == 1

    def test_queues_nothing_for_rows_it_knows_or_leaves_out(self, scene: Scene):
        drill = make_reading(scene.athlete, scene.session, phases=["acceleration"])

        push(scene, drill)
        push(scene, drill)

        with club_scope(scene.club):
            assert PendingRefresh.objects.count() == 0

    def test_notes_who_pushed_and_how_much_but_no_values(self, scene: Scene):
        push(scene, make_reading(scene.athlete, scene.session))

        with club_scope(scene.club):
            entry = AuditEntry.objects.get(action="attempts_pushed")
        assert entry.subject_ids == [scene.source.id]
        assert entry.counts == {"created": 1, "known": 0, "conflict": 0, "rejected": 0}

    @pytest.mark.parametrize(
        ("fields", "left_out"),
        [
            ({"outcome": "baulk", "official_m": None}, "baulk"),
            ({"take_off_foot_ok": False}, "wrong_foot"),
            ({"phases": ["acceleration", "transition"]}, "partial"),
            # Planned 34.20 m over 16 steps: half a mean step is 1.07 m.
            ({"start_mark_m": 35.40}, "wrong_step_count"),
            ({"start_mark_m": 35.20}, None),
        ],
    )
    def test_says_why_an_attempt_stays_out_of_its_series(
        self, scene: Scene, fields: dict[str, Any], left_out: str | None
    ):
        push(scene, make_reading(scene.athlete, scene.session, **fields))

        with club_scope(scene.club):
            assert Attempt.objects.get().left_out == left_out


class TestPlanAtPush:
    def test_takes_the_revision_that_was_valid_when_the_attempt_started(self, scene: Scene):
        later = make_plan(
            scene.approach, revision=2, valid_from=datetime(2026, 5, 2, 8, tzinfo=UTC)
        )

        push(
            scene,
            make_reading(scene.athlete, scene.session, external_id="before"),
            make_reading(
                scene.athlete,
                scene.session,
                external_id="after",
                started_at="2026-05-02T10:00:00+02:00",
            ),
        )

        with club_scope(scene.club):
            plans = dict(Attempt.objects.values_list("external_id", "plan_id"))
        assert plans == {"before": scene.plan.id, "after": later.id}

    def test_stores_an_attempt_from_before_the_first_plan_without_one(self, scene: Scene):
        push(
            scene,
            make_reading(scene.athlete, scene.session, started_at="2025-05-02T10:00:00+02:00"),
        )

        with club_scope(scene.club):
            assert Attempt.objects.get().plan_id is None


class TestSendingAgain:
    def test_changes_nothing_when_sent_again(self, scene: Scene):
        reading = make_reading(scene.athlete, scene.session)
        push(scene, reading)

        outcome = push(scene, reading)

        assert counts(outcome) == (0, 1, 0, 0)
        assert outcome.complete
        with club_scope(scene.club):
            assert Attempt.objects.count() == 1

    def test_knows_the_same_content_in_other_words(self, scene: Scene):
        reading = make_reading(scene.athlete, scene.session)
        push(scene, reading)
        reworded = dict(reversed(reading.items())) | {
            "started_at": "2026-05-02T07:14:07.25Z",
            "official_m": 6.410,
            "athlete": str(scene.athlete.id).upper(),
            "approach": str(scene.approach.id),
            "session": str(scene.session.id),
            "take_off_foot_ok": None,
            "phases": ["acceleration", "transition", "attack"],
        }

        assert counts(push(scene, reworded)) == (0, 1, 0, 0)

    @pytest.mark.parametrize(
        "change",
        [
            {"wind_mps": 0.81},
            {"official_m": "6.42"},
            {"started_at": "2026-05-02T09:14:07.250001+02:00"},
            {"footfalls": {"toe_m": [0.07, 2.21, 4.58]}},
            {"outcome": "no_jump", "official_m": None},
        ],
    )
    def test_refuses_other_content_under_the_same_id(self, scene: Scene, change: dict[str, Any]):
        reading = make_reading(scene.athlete, scene.session)
        push(scene, reading)

        outcome = push(scene, reading | change)

        assert counts(outcome) == (0, 0, 1, 0)
        assert [fault.code for fault in outcome.rows[0].faults] == ["conflict"]
        with club_scope(scene.club):
            assert Attempt.objects.get().wind_mps == 0.8
            assert QuarantinedRow.objects.get().code == "conflict"

    def test_keeps_the_first_of_twins_in_one_batch(self, scene: Scene):
        first = make_reading(scene.athlete, scene.session, external_id="twin")

        outcome = push(scene, first, first, first | {"wind_mps": -1.0})

        assert counts(outcome) == (1, 1, 1, 0)
        assert outcome.received == 3
        with club_scope(scene.club):
            assert Attempt.objects.get().wind_mps == 0.8

    def test_gives_each_source_its_own_ids(self, scene: Scene):
        reading = make_reading(scene.athlete, scene.session)
        with club_scope(scene.club):
            other = Source.objects.create(club=scene.club, name="Second gate", kind="device")
        push(scene, reading)

        outcome = push(replace(scene, source=other), reading)

        assert counts(outcome) == (1, 0, 0, 0)


class TestRefusing:
    @pytest.mark.parametrize(
        ("fields", "pointer", "code"),
        [
            ({"athlete": "ext:nobody"}, "/athlete", "unknown_athlete"),
            ({"athlete": "A-1"}, "/athlete", "unknown_athlete"),
            ({"approach": "LJ-99"}, "/approach", "unknown_approach"),
            ({"session": "never"}, "/session", "unknown_session"),
            ({"session": str(uuid4())}, "/session", "unknown_session"),
            ({"started_at": "1999-05-02T09:14:07Z"}, "/started_at", "started_at_out_of_range"),
            ({"started_at": "2026-05-02T09:14:07"}, "/started_at", "time_without_zone"),
            ({"started_at": "yesterday"}, "/started_at", "not_a_time"),
            ({"phases": ["attack"]}, "/phases", "phases_not_leading"),
            ({"finish": "somersault"}, "/finish", "unknown_value"),
            ({"start_mark_m": 1.0}, "/start_mark_m", "start_mark_out_of_range"),
            ({"start_mark_m": "34"}, "/start_mark_m", "wrong_type"),
            ({"wind_mps": 40}, "/wind_mps", "wind_out_of_range"),
            ({"official_m": "-1"}, "/official_m", "official_out_of_range"),
            ({"official_m": "6.415"}, "/official_m", "official_too_precise"),
            ({"official_m": "NaN"}, "/official_m", "official_out_of_range"),
            ({"outcome": "no_jump"}, "/official_m", "official_without_valid"),
            ({"footfalls": {"toe_m": [0.1], "contact": []}}, None, None),
            (
                {"footfalls": {"toe_m": [0.1, 2.0], "touchdown_s": [5.0]}},
                "/footfalls",
                "unequal_lengths",
            ),
            ({"gates": {"at_m": [11, 6], "time_s": [4.0]}}, "/gates", "unequal_lengths"),
            ({"gates": {"at_m": [11]}}, "/gates/time_s", "required"),
            (
                {"footfalls": {"toe_m": [float(k) for k in range(41)]}},
                "/footfalls",
                "too_many_values",
            ),
            ({"footfalls": {"toe_m": [-6.0]}}, "/footfalls/toe_m/0", "position_out_of_range"),
            # 7 cm, taken for metres
            ({"footfalls": {"toe_m": [7.0]}}, "/footfalls/toe_m/0", "take_off_out_of_range"),
            ({"footfalls": {"toe_m": [3.0, 5.2]}}, None, None),
            (
                {"footfalls": {"toe_m": [7.0]}, "outcome": "baulk", "official_m": None},
                None,
                None,
            ),
            (
                {"footfalls": {"toe_m": [0.1, 2.2, 2.2]}},
                "/footfalls/toe_m/2",
                "positions_must_grow",
            ),
            (
                {"footfalls": {"toe_m": [0.1, None, 0.0]}},
                "/footfalls/toe_m/2",
                "positions_must_grow",
            ),
            (
                {"footfalls": {"touchdown_s": [5.0, 5.1]}},
                "/footfalls/touchdown_s/1",
                "times_must_fall",
            ),
            (
                {"footfalls": {"touchdown_s": [5.0], "toe_off_s": [4.9]}},
                "/footfalls/toe_off_s/0",
                "contact_out_of_order",
            ),
            (
                {"footfalls": {"touchdown_s": [5.0, 4.8], "toe_off_s": [5.1, 5.05]}},
                "/footfalls/toe_off_s/1",
                "contact_out_of_order",
            ),
            (
                {"footfalls": {"toe_m": [0.1, 2.2], "touchdown_s": [5.0, 4.9]}},
                "/footfalls/touchdown_s/1",
                "speed_out_of_range",
            ),
            ({"footfalls": {"toe_m": [0.1], "toes": []}}, "/footfalls/toes", "unknown_field"),
            ({"gates": {"at_m": [35], "time_s": [1]}}, "/gates/at_m/0", "gate_off_runway"),
            (
                {"gates": {"at_m": [6, 11], "time_s": [4.7, 4.154]}},
                "/gates/at_m/1",
                "gates_out_of_order",
            ),
            (
                {"gates": {"at_m": [11, 6], "time_s": [4.154, 4.2]}},
                "/gates/time_s/1",
                "speed_out_of_range",
            ),
            ({"gates": {"at_m": [4.5], "time_s": [5.3]}}, "/gates/time_s/0", "gate_off_clock"),
            ({"surprise": 1}, "/surprise", "unknown_field"),
            ({"external_id": None}, "/external_id", "required"),
            ({"external_id": ""}, "/external_id", "wrong_length"),
            ({"external_id": "a\0b"}, "/external_id", "control_character"),
        ],
    )
    def test_names_the_field_and_the_rule(
        self, scene: Scene, fields: dict[str, Any], pointer: str | None, code: str | None
    ):
        good = make_reading(scene.athlete, scene.session)

        outcome = push(scene, good, make_reading(scene.athlete, scene.session, **fields))

        if code is None:
            assert outcome.complete
            return
        assert counts(outcome) == (1, 0, 0, 1)
        (row,) = outcome.rows
        assert (row.index, row.faults[0].pointer, row.faults[0].code) == (1, pointer, code)
        with club_scope(scene.club):
            kept = QuarantinedRow.objects.get()
        assert (kept.code, kept.pointer) == (code, pointer)

    def test_says_how_a_code_is_written(self, scene: Scene):
        outcome = push(scene, make_reading(scene.athlete, scene.session, athlete="A-1"))

        assert outcome.rows[0].faults[0].detail == "No athlete A-1. A code is written ext:A-1."

    def test_does_not_take_another_athletes_approach(self, scene: Scene):
        stranger = make_athlete(scene.club)
        approach = make_approach(stranger, code="LJ-18")

        outcome = push(scene, make_reading(scene.athlete, scene.session, approach=str(approach.id)))

        assert outcome.rows[0].faults[0].code == "unknown_approach"

    def test_keeps_the_same_refused_row_once(self, scene: Scene):
        bad = make_reading(scene.athlete, scene.session, wind_mps=99)
        push(scene, bad)

        push(scene, bad)

        with club_scope(scene.club):
            assert QuarantinedRow.objects.count() == 1

    def test_stores_nothing_from_a_closed_source(self, scene: Scene):
        with club_scope(scene.club):
            Source.objects.update(closed_at=datetime(2026, 1, 1, tzinfo=UTC))

        with pytest.raises(RevokedSourceError):
            push(scene, make_reading(scene.athlete, scene.session))


class TestOptions:
    def test_dry_run_answers_the_same_and_stores_nothing(self, scene: Scene):
        rows = [
            make_reading(scene.athlete, scene.session),
            make_reading(scene.athlete, scene.session, wind_mps=99),
        ]

        rehearsed = push(scene, *rows, dry_run=True)

        with club_scope(scene.club):
            assert Attempt.objects.count() == QuarantinedRow.objects.count() == 0
            assert PendingRefresh.objects.count() == 0
        assert rehearsed == push(scene, *rows)

    def test_all_or_nothing_stores_nothing_when_a_row_is_bad(self, scene: Scene):
        with pytest.raises(RefusedBatchError) as refused:
            push(
                scene,
                make_reading(scene.athlete, scene.session),
                make_reading(scene.athlete, scene.session, wind_mps=99),
                all_or_nothing=True,
            )

        assert [fault.pointer for fault in refused.value.faults] == ["/1/wind_mps"]
        with club_scope(scene.club):
            assert Attempt.objects.count() == QuarantinedRow.objects.count() == 0

    def test_makes_training_sessions_on_request(self, scene: Scene):
        outcome = push(
            scene,
            make_reading(
                scene.athlete,
                scene.session,
                session="2026-06-01-pm",
                started_at="2026-06-01T15:00:00Z",
            ),
            make_sessions=True,
        )

        assert counts(outcome) == (1, 0, 0, 0)
        with club_scope(scene.club):
            made = Session.objects.get(code="2026-06-01-pm")
        assert (made.kind, str(made.held_date)) == ("training", "2026-06-01")


class TestOneRow:
    def test_returns_the_attempt_and_whether_it_is_new(self, scene: Scene):
        (row,) = rows_of(make_reading(scene.athlete, scene.session))

        first = pushing.record_one(club=scene.club, source_id=scene.source.id, row=row)
        again = pushing.record_one(club=scene.club, source_id=scene.source.id, row=row)

        assert (first.created, again.created) == (True, False)
        assert first.attempt_id == again.attempt_id

    def test_names_every_rule_that_is_broken(self, scene: Scene):
        (row,) = rows_of(
            make_reading(scene.athlete, scene.session, wind_mps=99, start_mark_m=1.0, gates=None)
        )

        with pytest.raises(RefusedRowError) as refused:
            pushing.record_one(club=scene.club, source_id=scene.source.id, row=row)

        assert {fault.code for fault in refused.value.faults} == {
            "wind_out_of_range",
            "start_mark_out_of_range",
        }
        with club_scope(scene.club):
            assert QuarantinedRow.objects.count() == 1

    def test_raises_on_other_content(self, scene: Scene):
        reading = make_reading(scene.athlete, scene.session)
        push(scene, reading)
        (row,) = rows_of(reading | {"wind_mps": 0.0})

        with pytest.raises(ConflictingRowError):
            pushing.record_one(club=scene.club, source_id=scene.source.id, row=row)
