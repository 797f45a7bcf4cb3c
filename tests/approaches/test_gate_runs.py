"""Gate runs: each stored once, or refused with the reason."""

from datetime import UTC, datetime
from typing import Any

import pytest

from approaches.errors import ConflictingRowError, RefusedBatchError, RefusedRowError
from approaches.models import GateRun, QuarantinedRow
from approaches.services import gate_runs, recording
from approaches.services.batches import read_json_batch
from approaches.services.gate_times import GATE_RUNS
from athletes.models import Athlete
from clubs.errors import RevokedSourceError
from clubs.models import AuditEntry, Source
from common.club_scope import club_scope
from tests.approaches.conftest import Scene
from tests.factories import gate_rows_of, make_athlete, make_gate_times


def push(scene: Scene, *sent: dict[str, Any], **options: Any) -> recording.RecordOutcome:
    return gate_runs.record_gate_runs(
        club=scene.club, source_id=scene.source.id, rows=gate_rows_of(*sent), **options
    )


def counts(outcome: recording.RecordOutcome) -> tuple[int, int, int, int]:
    return outcome.created, outcome.known, outcome.conflicts, outcome.rejected


def stored(scene: Scene) -> list[GateRun]:
    with club_scope(scene.club):
        return list(GateRun.objects.order_by("external_id"))


class TestStoring:
    def test_keeps_every_field_as_sent(self, scene: Scene):
        sent = make_gate_times(scene.athlete, attempt_external_id="run-7")

        push(scene, sent)

        (run,) = stored(scene)
        assert run.started_at == datetime(2026, 5, 2, 7, 14, 9, 100_000, tzinfo=UTC)
        assert (run.athlete_id, run.attempt_external_id) == (scene.athlete.id, "run-7")
        assert run.at_m == [31, 11, 6, 1]
        assert run.time_s == [1.052, 4.154, 4.700, 5.241]
        assert run.raw == sent | {"started_at": "2026-05-02T09:14:09.100000+02:00"}
        assert (run.attempt_id, run.unmatched_because) == (None, "waiting")

    def test_keeps_numbers_to_the_last_digit(self, scene: Scene):
        at_m, time_s = [30.1 + 1e-14, 0.1 + 0.2], [1 / 3, 5.3]

        push(scene, make_gate_times(scene.athlete, at_m=at_m, time_s=time_s))

        (run,) = stored(scene)
        assert (run.at_m, run.time_s) == (at_m, time_s)

    # RFC 3339, 5.6: time-hour is 00 to 23, in an offset too.
    @pytest.mark.parametrize("offset", ["+23:59", "-23:59"])
    def test_takes_a_moment_of_any_offset(self, scene: Scene, offset: str):
        moment = datetime.fromisoformat(f"2026-05-02T09:14:09{offset}")

        push(scene, make_gate_times(scene.athlete, started_at=moment.isoformat()))

        (run,) = stored(scene)
        assert run.started_at == moment

    def test_takes_numbers_of_any_length(self, scene: Scene):
        """What JSON allows, a column of numbers in the database need not hold."""
        long = f'"at_m": [11, 6.{"0" * 20_000}1], "time_s": [4.154, 4.7]'
        tiny = '"at_m": [11, 1e-30000], "time_s": [4.154, 5.3]'
        rows = [
            f'{{"external_id": "{name}", "started_at": "2026-05-02T09:14:09Z", {arrays}}}'
            for name, arrays in (("long", long), ("tiny", tiny))
        ]

        outcome = gate_runs.record_gate_runs(
            club=scene.club,
            source_id=scene.source.id,
            rows=read_json_batch(f"[{','.join(rows)}]".encode(), GATE_RUNS),
        )

        assert counts(outcome) == (2, 0, 0, 0)
        assert [run.at_m for run in stored(scene)] == [[11, 6], [11, 0]]

    def test_takes_a_run_of_nobody_in_particular_from_a_device(self, scene: Scene):
        push(scene, make_gate_times())

        (run,) = stored(scene)
        assert run.athlete_id is None

    def test_notes_who_pushed_and_how_much(self, scene: Scene):
        push(scene, make_gate_times(scene.athlete))

        with club_scope(scene.club):
            entry = AuditEntry.objects.get(action="gate_runs_pushed")
        assert entry.subject_ids == [scene.source.id]
        assert entry.counts == {"created": 1, "known": 0, "conflict": 0, "rejected": 0}


class TestSendingAgain:
    def test_knows_the_same_content_in_other_words(self, scene: Scene):
        sent = make_gate_times(scene.athlete)
        push(scene, sent)
        reworded = dict(reversed(sent.items())) | {
            "started_at": "2026-05-02T07:14:09.1Z",
            "athlete": str(scene.athlete.id).upper(),
            "attempt_external_id": None,
        }

        assert counts(push(scene, reworded)) == (0, 1, 0, 0)
        assert len(stored(scene)) == 1

    @pytest.mark.parametrize(
        "change",
        [
            {"time_s": [1.052, 4.154, 4.700, 5.242]},
            {"at_m": [31, 11, 6, 1.01]},
            {"started_at": "2026-05-02T09:14:09.101+02:00"},
            {"attempt_external_id": "run-7"},
            {"athlete": None},
        ],
    )
    def test_refuses_other_content_under_the_same_id(self, scene: Scene, change: dict[str, Any]):
        sent = make_gate_times(scene.athlete)
        push(scene, sent)

        outcome = push(scene, sent | change)

        assert counts(outcome) == (0, 0, 1, 0)
        assert stored(scene)[0].time_s == sent["time_s"]
        with club_scope(scene.club):
            assert QuarantinedRow.objects.get().code == "conflict"

    def test_keeps_the_first_of_twins_in_one_batch(self, scene: Scene):
        sent = make_gate_times(scene.athlete)
        other = sent | {"time_s": [1.1, 4.2, 4.7, 5.3]}

        outcome = push(scene, sent, sent, other)

        assert counts(outcome) == (1, 1, 1, 0)
        assert stored(scene)[0].time_s == sent["time_s"]


class TestRefusing:
    @pytest.mark.parametrize(
        ("fields", "pointer", "code"),
        [
            ({"at_m": [6, 11, 31, 1]}, "/at_m/1", "gates_out_of_order"),
            ({"time_s": [1.052, 4.154, 4.154, 5.241]}, "/time_s/2", "gates_out_of_order"),
            # 5 m in 0.3 s are 16.7 m/s; the fastest sprinters pass 12 m/s.
            ({"at_m": [11, 6], "time_s": [4.1, 4.4]}, "/time_s/1", "speed_out_of_range"),
            ({"at_m": [11, 6], "time_s": [4.1, 14.2]}, "/time_s/1", "speed_out_of_range"),
            ({"at_m": [11, 6], "time_s": [4.1]}, "", "unequal_lengths"),
            ({"at_m": [81.0], "time_s": [0.1]}, "/at_m/0", "gate_off_runway"),
            ({"at_m": [1.0], "time_s": [3601]}, "/time_s/0", "time_out_of_range"),
            ({"at_m": [], "time_s": []}, "/at_m", "no_gates"),
            (
                {"at_m": [41 - place for place in range(41)], "time_s": list(range(41))},
                "",
                "too_many_values",
            ),
            ({"started_at": "1999-05-02T09:14:09Z"}, "/started_at", "started_at_out_of_range"),
            ({"started_at": "2026-05-02T09:14:09"}, "/started_at", "time_without_zone"),
            ({"at_m": [31, None], "time_s": [1, 2]}, "/at_m/1", "wrong_type"),
            ({"athlete": "ext:nobody"}, "/athlete", "unknown_athlete"),
            ({"athlete": "A-17"}, "/athlete", "unknown_athlete"),
            ({"surprise": 1}, "/surprise", "unknown_field"),
            ({"external_id": None}, "/external_id", "required"),
        ],
    )
    def test_names_the_field_and_the_rule(
        self, scene: Scene, fields: dict[str, Any], pointer: str, code: str
    ):
        outcome = push(
            scene, make_gate_times(scene.athlete), make_gate_times(scene.athlete, **fields)
        )

        assert counts(outcome) == (1, 0, 0, 1)
        (row,) = outcome.rows
        assert (row.index, row.faults[0].pointer, row.faults[0].code) == (1, pointer, code)
        with club_scope(scene.club):
            kept = QuarantinedRow.objects.get()
        assert (kept.kind, kept.code, kept.pointer) == ("gate_run", code, pointer)

    def test_asks_a_person_whose_run_it_is(self, scene: Scene):
        with club_scope(scene.club):
            athletes = Athlete.objects.all()

        outcome = push(scene, make_gate_times(), athletes=athletes)

        assert [(fault.pointer, fault.code) for fault in outcome.rows[0].faults] == [
            ("/athlete", "required")
        ]

    def test_knows_no_athlete_but_those_of_the_person(self, scene: Scene):
        stranger = make_athlete(scene.club)
        with club_scope(scene.club):
            athletes = Athlete.objects.filter(id=scene.athlete.id)

        outcome = push(scene, make_gate_times(stranger), athletes=athletes)

        assert outcome.rows[0].faults[0].code == "unknown_athlete"

    def test_stores_nothing_from_a_closed_source(self, scene: Scene):
        with club_scope(scene.club):
            Source.objects.update(closed_at=datetime(2026, 1, 1, tzinfo=UTC))

        with pytest.raises(RevokedSourceError):
            push(scene, make_gate_times(scene.athlete))


class TestOptions:
    def test_dry_run_answers_the_same_and_stores_nothing(self, scene: Scene):
        rows = [make_gate_times(scene.athlete), make_gate_times(scene.athlete, at_m=[])]

        rehearsed = push(scene, *rows, dry_run=True)

        with club_scope(scene.club):
            assert GateRun.objects.count() == QuarantinedRow.objects.count() == 0
        assert rehearsed == push(scene, *rows)

    def test_all_or_nothing_stores_nothing_when_a_row_is_bad(self, scene: Scene):
        with pytest.raises(RefusedBatchError) as refused:
            push(
                scene,
                make_gate_times(scene.athlete),
                make_gate_times(scene.athlete, time_s=[1.0, 2.0, 2.0, 3.0]),
                all_or_nothing=True,
            )

        assert [fault.pointer for fault in refused.value.faults] == ["/1/time_s/2"]
        with club_scope(scene.club):
            assert GateRun.objects.count() == QuarantinedRow.objects.count() == 0


class TestOneRow:
    def record(self, scene: Scene, sent: dict[str, Any], **options: Any) -> Any:
        (row,) = gate_rows_of(sent)
        return gate_runs.record_gate_run(
            club=scene.club, source_id=scene.source.id, row=row, **options
        )

    def test_returns_the_run_and_whether_it_is_new(self, scene: Scene):
        sent = make_gate_times(scene.athlete)

        first = self.record(scene, sent)
        again = self.record(scene, sent)

        assert (first.created, again.created) == (True, False)
        assert first.run_id == again.run_id
        assert (first.attempt_id, first.unmatched_because) == (None, "waiting")

    def test_raises_on_a_broken_rule_and_keeps_the_row(self, scene: Scene):
        with pytest.raises(RefusedRowError):
            self.record(scene, make_gate_times(scene.athlete, at_m=[]))

        with club_scope(scene.club):
            assert QuarantinedRow.objects.get().kind == "gate_run"

    def test_raises_on_other_content(self, scene: Scene):
        sent = make_gate_times(scene.athlete)
        self.record(scene, sent)

        with pytest.raises(ConflictingRowError):
            self.record(scene, sent | {"time_s": [1.1, 4.2, 4.7, 5.3]})

    def test_has_no_id_after_a_dry_run(self, scene: Scene):
        assert self.record(scene, make_gate_times(scene.athlete), dry_run=True).run_id is None
        assert stored(scene) == []
