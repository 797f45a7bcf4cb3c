"""Gate runs find their attempts, whichever of the two came first."""

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection

from approaches.models import Attempt, AttemptVersion, GateRun, PendingRefresh
from approaches.services import correcting, gate_runs, pushing
from approaches.services.changes import Correction
from approaches.services.forms import read_form
from clubs.models import AuditEntry
from common.club_scope import club_scope
from common.versions import ANY_VERSION
from tests.approaches.conftest import Scene, make_scene
from tests.factories import (
    gate_rows_of,
    make_athlete,
    make_attempt,
    make_caller,
    make_gate_run,
    make_gate_times,
    make_reading,
    make_source,
    rows_of,
)

STARTED_AT = datetime.fromisoformat("2026-05-02T09:14:07.250+02:00")
AT_M, TIME_S = [31, 11, 6, 1], [1.052, 4.154, 4.700, 5.241]


def later(seconds: float) -> str:
    return (STARTED_AT + timedelta(seconds=seconds)).isoformat()


def attempt_of(scene: Scene, **fields: Any) -> Attempt:
    """Push an attempt without gates."""
    return make_attempt(
        scene.source,
        scene.athlete,
        scene.session,
        **{"started_at": later(0), "gates": None, **fields},
    )


def run_of(scene: Scene, **fields: Any) -> GateRun:
    """Push a gate run of the scene's athlete."""
    return make_gate_run(scene.source, scene.athlete, **{"started_at": later(2), **fields})


def now(row: Any) -> Any:
    with club_scope(row.club_id):
        return type(row).objects.get(id=row.id)


def check_matched(run: GateRun, attempt: Attempt, *, by: str) -> None:
    assert (now(run).attempt_id, now(run).matched_by) == (attempt.id, by)
    assert now(run).unmatched_because is None
    assert (now(attempt).gate_at_m, now(attempt).gate_time_s) == (AT_M, TIME_S)


def check_unmatched(run: GateRun, because: str) -> None:
    assert (now(run).attempt_id, now(run).unmatched_because) == (None, because)


class TestByTime:
    def test_finds_the_attempt_that_came_first(self, scene: Scene):
        attempt = attempt_of(scene)

        run = run_of(scene)

        check_matched(run, attempt, by="time")

    def test_finds_the_attempt_that_came_later(self, scene: Scene):
        run = run_of(scene)
        check_unmatched(run, "waiting")

        attempt = attempt_of(scene)

        check_matched(run, attempt, by="time")

    @pytest.mark.parametrize("seconds", [-10, 10])
    def test_reaches_ten_seconds_each_way(self, scene: Scene, seconds: float):
        first = run_of(scene, started_at=later(seconds))
        attempt = attempt_of(scene)

        check_matched(first, attempt, by="time")

    @pytest.mark.parametrize("seconds", [-10.001, 10.001])
    def test_reaches_no_farther(self, scene: Scene, seconds: float):
        before, after = run_of(scene, started_at=later(seconds)), None
        attempt = attempt_of(scene)
        after = run_of(scene, started_at=later(seconds))

        assert now(attempt).gate_at_m == []
        check_unmatched(before, "waiting")
        check_unmatched(after, "waiting")

    def test_matches_a_whole_batch_each_to_its_own(self, scene: Scene):
        runs = [run_of(scene, started_at=later(60 * place)) for place in range(5)]

        pushing.record_attempts(
            club=scene.club,
            source_id=scene.source.id,
            rows=rows_of(
                *(
                    make_reading(
                        scene.athlete,
                        scene.session,
                        external_id=f"run-{place}",
                        started_at=later(60 * place + 1),
                        gates=None,
                    )
                    for place in range(5)
                )
            ),
        )

        with club_scope(scene.club):
            matched = GateRun.objects.filter(id__in=[run.id for run in runs]).order_by("started_at")
            names = list(matched.values_list("attempt__external_id", flat=True))
        assert names == [f"run-{place}" for place in range(5)]

    def test_leaves_two_attempts_that_fit_to_people(self, scene: Scene):
        attempts = [attempt_of(scene), attempt_of(scene, started_at=later(3))]

        run = run_of(scene)

        check_unmatched(run, "ambiguous")
        assert [now(attempt).gate_at_m for attempt in attempts] == [[], []]

    def test_leaves_two_runs_that_fit_to_people(self, scene: Scene):
        runs = [run_of(scene), run_of(scene, started_at=later(3))]

        attempt = attempt_of(scene)

        for run in runs:
            check_unmatched(run, "ambiguous")
        assert now(attempt).gate_at_m == []

    def test_looks_at_the_runs_own_athlete_only(self, scene: Scene):
        run = make_gate_run(scene.source, make_athlete(scene.club), started_at=later(0))

        attempt_of(scene)

        check_unmatched(run, "waiting")

    def test_leaves_a_run_of_nobody_in_particular_to_people(self, scene: Scene):
        attempt_of(scene)

        run = make_gate_run(scene.source, started_at=later(0))

        check_unmatched(run, "waiting")

    def test_takes_no_attempt_that_was_voided(self, scene: Scene):
        attempt = attempt_of(scene)
        correcting.void_attempt(
            club=scene.club,
            attempt_id=attempt.id,
            expected=ANY_VERSION,
            reason="Sent twice.",
            caller=make_caller(scene.club),
        )

        check_unmatched(run_of(scene), "waiting")


class TestByName:
    def test_finds_the_attempt_at_any_time(self, scene: Scene):
        attempt = attempt_of(scene, external_id="run-7")

        run = run_of(scene, attempt_external_id="run-7", started_at=later(3600))

        check_matched(run, attempt, by="name")

    def test_finds_the_attempt_that_came_later(self, scene: Scene):
        run = run_of(scene, attempt_external_id="run-7", started_at=later(3600))

        attempt = attempt_of(scene, external_id="run-7")

        check_matched(run, attempt, by="name")

    def test_needs_no_athlete(self, scene: Scene):
        attempt = attempt_of(scene, external_id="run-7")

        run = make_gate_run(scene.source, attempt_external_id="run-7")

        check_matched(run, attempt, by="name")

    def test_waits_for_that_attempt_and_takes_no_other_near_it(self, scene: Scene):
        attempt_of(scene, external_id="run-6")

        run = run_of(scene, attempt_external_id="run-7")

        check_unmatched(run, "waiting")

    def test_prefers_its_own_source_and_finds_others(self, scene: Scene):
        script = make_source(scene.club)
        others = make_attempt(script, scene.athlete, scene.session, external_id="run-7", gates=None)
        first = run_of(scene, attempt_external_id="run-7")
        own = attempt_of(scene, external_id="run-8")
        make_attempt(script, scene.athlete, scene.session, external_id="run-8", gates=None)
        second = run_of(scene, attempt_external_id="run-8")

        check_matched(first, others, by="name")
        check_matched(second, own, by="name")

    def test_leaves_the_same_name_of_two_other_sources_to_people(self, scene: Scene):
        for _ in range(2):
            make_attempt(
                make_source(scene.club),
                scene.athlete,
                scene.session,
                external_id="run-7",
                gates=None,
            )

        check_unmatched(run_of(scene, attempt_external_id="run-7"), "ambiguous")

    def test_refuses_the_attempt_of_another_athlete(self, scene: Scene):
        attempt_of(scene, external_id="run-7")

        run = make_gate_run(scene.source, make_athlete(scene.club), attempt_external_id="run-7")

        check_unmatched(run, "other_athlete")


class TestFilling:
    def test_never_overwrites(self, scene: Scene):
        attempt = attempt_of(scene, gates={"at_m": [11, 6], "time_s": [4.154, 4.700]})

        run = run_of(scene)

        check_unmatched(run, "gates_filled")
        assert now(attempt).gate_at_m == [11, 6]
        assert now(attempt).version == 1

    def test_takes_the_first_run_only(self, scene: Scene):
        attempt = attempt_of(scene)

        first, second = run_of(scene), run_of(scene, started_at=later(4))

        check_matched(first, attempt, by="time")
        check_unmatched(second, "gates_filled")

    @pytest.mark.parametrize(
        ("fields", "code"),
        [
            # The footfalls say that the athlete was 0.07 m before the line by then.
            ({"at_m": [4.5], "time_s": [5.3]}, "gate_off_clock"),
            ({"at_m": [40.0], "time_s": [0.2]}, "gate_off_runway"),
        ],
    )
    def test_breaks_no_rule_of_the_attempt(self, scene: Scene, fields: Any, code: str):
        attempt = attempt_of(scene)

        run = run_of(scene, **fields)

        check_unmatched(run, code)
        assert now(attempt).gate_at_m == []

    def test_is_a_version_of_the_attempt(self, scene: Scene):
        attempt = attempt_of(scene)

        run = run_of(scene)

        with club_scope(scene.club):
            version = AttemptVersion.objects.get()
        assert (version.version, now(attempt).version) == (1, 2)
        assert (version.kind, version.field_names) == (
            "gates_filled",
            ["gates.at_m", "gates.time_s"],
        )
        assert version.former["gates"] is None
        assert version.reason == f"Gate run {run.external_id}."
        assert version.replaced_by == scene.source.id

    def test_leaves_what_the_source_sent_known(self, scene: Scene):
        sent = make_reading(scene.athlete, scene.session, started_at=later(0), gates=None)
        rows = rows_of(sent)
        pushing.record_attempts(club=scene.club, source_id=scene.source.id, rows=rows)
        run_of(scene)

        again = pushing.record_attempts(club=scene.club, source_id=scene.source.id, rows=rows)

        assert (again.known, again.conflicts) == (1, 0)

    def test_has_the_series_computed_again(self, scene: Scene):
        attempt = attempt_of(scene)
        with club_scope(scene.club):
            PendingRefresh.objects.all().delete()

        run_of(scene)

        with club_scope(scene.club):
            assert PendingRefresh.objects.get().first_changed_at == attempt.started_at

    def test_is_noted_in_the_audit(self, scene: Scene):
        attempt = attempt_of(scene)
        run = run_of(scene)

        with club_scope(scene.club):
            entries = AuditEntry.objects.filter(action="gate_runs_matched")
            subjects = {entry.subject_kind: entry.subject_ids for entry in entries}
        assert subjects == {"gate_run": [run.id], "attempt": [attempt.id]}

    def test_is_undone_with_a_dry_run(self, scene: Scene):
        attempt = attempt_of(scene)
        (row,) = gate_rows_of(make_gate_times(scene.athlete, started_at=later(2)))

        rehearsed = gate_runs.record_gate_run(
            club=scene.club, source_id=scene.source.id, row=row, dry_run=True
        )

        assert rehearsed.attempt_id == attempt.id
        assert now(attempt).gate_at_m == []


class TestAfterACorrection:
    def test_a_run_finds_the_attempt_whose_start_was_wrong(self, scene: Scene):
        attempt = attempt_of(scene, started_at=later(3600))
        run = run_of(scene)
        form = {"changes": {"started_at": later(0)}, "reason": "Summer time."}
        correction = read_form(form, Correction)

        corrected = correcting.correct_attempt(
            club=scene.club,
            attempt_id=attempt.id,
            expected=ANY_VERSION,
            changes=correction.changes,
            reason=correction.reason,
            caller=make_caller(scene.club),
        )

        check_matched(run, attempt, by="time")
        assert (corrected.version, corrected.gate_at_m) == (3, AT_M)

    def test_a_run_that_fitted_two_attempts_finds_the_one_that_is_left(self, scene: Scene):
        twice, attempt = attempt_of(scene, started_at=later(1)), attempt_of(scene)
        run = run_of(scene)
        check_unmatched(run, "ambiguous")

        correcting.void_attempt(
            club=scene.club,
            attempt_id=twice.id,
            expected=ANY_VERSION,
            reason="Sent twice.",
            caller=make_caller(scene.club),
        )

        check_matched(run, attempt, by="time")


@pytest.mark.django_db(transaction=True)
class TestAtTheSameMoment:
    def test_a_run_and_its_attempt_find_each_other(self):
        """Neither can see the other before it is committed, so one has to wait for the other."""
        scene = make_scene()
        rounds = 30

        with ThreadPoolExecutor(2) as pool:
            for place in range(rounds):
                fields = {"external_id": f"run-{place}", "started_at": later(60 * place)}
                reading = make_reading(scene.athlete, scene.session, gates=None, **fields)
                sent = make_gate_times(scene.athlete, **fields)
                start = threading.Barrier(2)
                pushes = [
                    pool.submit(_push, start, pushing.record_attempts, scene, rows_of(reading)),
                    pool.submit(
                        _push, start, gate_runs.record_gate_runs, scene, gate_rows_of(sent)
                    ),
                ]
                for push in pushes:
                    assert push.result().created == 1

        with club_scope(scene.club):
            assert Attempt.objects.count() == rounds
            assert GateRun.objects.filter(attempt=None).count() == 0


def _push(start: threading.Barrier, record: Any, scene: Scene, rows: Any) -> Any:
    try:
        start.wait()
        return record(club=scene.club, source_id=scene.source.id, rows=rows)
    finally:
        connection.close()
