"""Gate runs over HTTP: pushed by devices, listed and matched by people."""

import gzip
import json
from typing import Any

import pytest

from approaches.models import GateRun, QuarantinedRow
from common.club_scope import club_scope
from tests.api.conftest import Api, World
from tests.factories import (
    make_athlete,
    make_attempt,
    make_device_token,
    make_gate_run,
    make_gate_times,
)

NDJSON, CSV = "application/x-ndjson", "text/csv"
STARTED_AT = "2026-05-02T09:14:07.250+02:00"


@pytest.fixture
def device(world: World) -> Api:
    return world.as_("device")


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


def listed(api: Api, query: str = "") -> list[dict[str, Any]]:
    results: list[dict[str, Any]] = api.get(f"gate-runs/{query}").json()["results"]
    return results


def table_of(sent: dict[str, Any]) -> bytes:
    names = ["external_id", "athlete", "started_at"]
    cells = [sent[name] for name in names]
    for array in ("at_m", "time_s"):
        names += [f"{array}_{place}" for place in range(len(sent[array]))]
        cells += map(str, sent[array])
    return f"{','.join(names)}\r\n{','.join(cells)}\r\n".encode()


class TestOne:
    def test_is_201_then_200_then_409(self, world: World, device: Api):
        sent = make_gate_times(world.athlete)

        first = device.post("gate-runs/", sent)
        again = device.post("gate-runs/", sent)
        other = device.post("gate-runs/", sent | {"time_s": [1.1, 4.2, 4.7, 5.3]})

        assert (first.status_code, again.status_code, other.status_code) == (201, 200, 409)
        assert first.json() == {
            "id": again.json()["id"],
            "external_id": sent["external_id"],
            "created": True,
            "attempt": None,
            "unmatched_because": "waiting",
        }
        assert again.json()["created"] is False
        assert other.json()["code"] == "conflict"

    def test_says_to_which_attempt_it_was_matched(self, world: World, device: Api, admin: Api):
        attempt = make_attempt(
            world.source, world.athlete, world.session, started_at=STARTED_AT, gates=None
        )

        answer = device.post("gate-runs/", make_gate_times(world.athlete, started_at=STARTED_AT))

        assert answer.json()["attempt"] == str(attempt.id)
        assert answer.json()["unmatched_because"] is None
        assert admin.get(f"attempts/{attempt.id}/").json()["gates"]["at_m"] == [31, 11, 6, 1]

    def test_is_422_with_the_rule_that_is_broken(self, world: World, device: Api):
        refused = device.post("gate-runs/", make_gate_times(world.athlete, at_m=[6, 11, 31, 1]))

        assert (refused.status_code, refused.json()["code"]) == (422, "row_refused")
        assert refused.json()["errors"][0]["pointer"] == "/at_m/1"


class TestBatch:
    def test_answers_as_a_batch_of_attempts_does(self, world: World, device: Api):
        good, bad = make_gate_times(world.athlete), make_gate_times(world.athlete, at_m=[])

        gates = device.post("gate-runs/batch/", [good, bad]).json()
        attempts = device.post("attempts/batch/", [{"external_id": "a"}]).json()

        assert gates.keys() == attempts.keys()
        assert gates["rows"][0].keys() == attempts["rows"][0].keys()
        assert (gates["received"], gates["created"], gates["rejected"]) == (2, 1, 1)
        assert (gates["rows"][0]["index"], gates["rows"][0]["code"]) == (1, "unequal_lengths")

    def test_takes_every_way_of_writing_it_and_stores_it_once(self, world: World, device: Api):
        sent = make_gate_times(world.athlete)
        line = json.dumps(sent).encode()
        bodies = [
            (b"[" + line + b"]", "application/json", {}),
            (line + b"\n", NDJSON, {}),
            (table_of(sent), CSV, {}),
            (gzip.compress(table_of(sent)), CSV, {"Content_Encoding": "gzip"}),
        ]

        answers = [
            device.post("gate-runs/batch/", body, media_type, **headers).json()
            for body, media_type, headers in bodies
        ]

        assert [(each["created"], each["known"]) for each in answers] == [(1, 0)] + 3 * [(0, 1)]

    def test_names_the_line_of_a_table(self, world: World, device: Api):
        head = b"external_id,athlete,started_at,at_m_0,time_s_0\n"
        rows = b"gates-1,ext:nobody,2026-05-02T09:21:40+02:00,11,4.1\n"

        answer = device.post("gate-runs/batch/", head + rows, CSV).json()

        (row,) = answer["rows"]
        assert (row["line"], row["code"], row["send_again_helps"]) == (2, "unknown_athlete", True)

    def test_refuses_columns_that_a_gate_run_has_not(self, world: World, device: Api):
        refused = device.post("gate-runs/batch/", b"external_id,started_at,toe_m_0\n", CSV)

        assert (refused.status_code, refused.json()["code"]) == (400, "invalid_columns")

    def test_dry_run_stores_nothing(self, world: World, device: Api):
        rows = [make_gate_times(world.athlete), make_gate_times(world.athlete, at_m=[])]

        answer = device.post("gate-runs/batch/?dry_run=true", rows)

        assert (answer.json()["created"], answer.json()["rejected"]) == (1, 1)
        with club_scope(world.club):
            assert GateRun.objects.count() == QuarantinedRow.objects.count() == 0

    def test_all_or_nothing_is_422_and_stores_nothing(self, world: World, device: Api):
        rows = [make_gate_times(world.athlete), make_gate_times(world.athlete, at_m=[])]

        answer = device.post("gate-runs/batch/?all_or_nothing=true", rows)

        assert (answer.status_code, answer.json()["code"]) == (422, "batch_refused")
        with club_scope(world.club):
            assert GateRun.objects.count() == 0


class TestList:
    def test_shows_a_run_as_it_was_sent(self, world: World, admin: Api):
        run = make_gate_run(world.source, world.athlete, attempt_external_id="run-7")

        (shown,) = listed(admin)

        assert shown == admin.get(f"gate-runs/{run.id}/").json()
        assert shown == {
            "id": str(run.id),
            "source": str(world.source.id),
            "external_id": run.external_id,
            "athlete": str(world.athlete.id),
            "attempt_external_id": "run-7",
            "started_at": "2026-05-02T07:14:09.100000Z",
            "at_m": [31, 11, 6, 1],
            "time_s": [1.052, 4.154, 4.7, 5.241],
            "attempt": None,
            "matched_by": None,
            "matched_at": None,
            "unmatched_because": "waiting",
            "suggestions": [],
        }

    def test_tells_the_matched_from_the_unmatched(self, world: World, admin: Api):
        attempt = make_attempt(world.source, world.athlete, world.session, gates=None)
        matched = make_gate_run(
            world.source, world.athlete, attempt_external_id=attempt.external_id
        )
        unmatched = make_gate_run(world.source, world.athlete, attempt_external_id="never-sent")

        assert [each["id"] for each in listed(admin, "?matched=true")] == [str(matched.id)]
        assert [each["id"] for each in listed(admin, "?matched=false")] == [str(unmatched.id)]

    def test_is_filtered_by_athlete_source_and_time(self, world: World, admin: Api):
        run = make_gate_run(world.source, world.athlete)
        make_gate_run(world.source, make_athlete(world.club), started_at="2026-05-03T09:00:00Z")

        for query in (
            f"?athlete={world.athlete.id}",
            f"?source={world.source.id}&started_before=2026-05-03T00:00:00Z",
            f"?external_id={run.external_id}",
        ):
            assert [each["id"] for each in listed(admin, query)] == [str(run.id)]

    def test_hides_a_run_of_nobody_once_it_is_a_strangers(self, world: World):
        attempt = make_attempt(world.source, world.athlete, world.session, gates=None)

        make_gate_run(world.source, attempt_external_id=attempt.external_id)

        assert listed(world.as_("coach")) == []
        assert len(listed(world.as_("admin"))) == 1

    def test_refuses_a_filter_that_cannot_be_read(self, admin: Api):
        refused = admin.get("gate-runs/?matched=maybe")

        assert (refused.status_code, refused.json()["code"]) == (400, "invalid_parameter")

    def test_shows_coaches_and_athletes_no_strangers_runs(self, world: World):
        stranger = make_athlete(world.club)
        make_gate_run(world.source, stranger)
        make_gate_run(world.source)

        assert listed(world.as_("athlete")) == []
        assert [each["athlete"] for each in listed(world.as_("coach"))] == [None]


class TestSuggestions:
    def test_are_the_attempts_near_an_unmatched_run_nearest_first(self, world: World, admin: Api):
        make_gate_run(world.source, world.athlete, started_at="2026-05-02T09:14:00+02:00")
        moments = {"far": "09:23:59", "near": "09:14:30", "before": "09:12:00", "no": "09:24:01"}
        for name, moment in moments.items():
            make_attempt(
                world.source,
                world.athlete,
                world.session,
                external_id=name,
                started_at=f"2026-05-02T{moment}+02:00",
                gates=None if name == "near" else {"at_m": [11, 6], "time_s": [4.154, 4.700]},
            )

        (run,) = listed(admin, "?matched=false")

        assert [
            (each["external_id"], each["seconds_apart"], each["has_gates"])
            for each in run["suggestions"]
        ] == [("near", 30.0, False), ("before", -120.0, True), ("far", 599.0, True)]

    def test_are_five_at_most(self, world: World, admin: Api):
        run = make_gate_run(world.source, started_at="2026-05-02T09:14:00+02:00")
        for place in range(7):
            make_attempt(
                world.source,
                world.athlete,
                world.session,
                external_id=f"run-{place}",
                started_at=f"2026-05-02T09:14:{10 + place}+02:00",
            )

        shown = admin.get(f"gate-runs/{run.id}/").json()["suggestions"]

        assert [each["external_id"] for each in shown] == [f"run-{place}" for place in range(5)]

    def test_begin_with_the_attempt_that_the_run_names(self, world: World, admin: Api):
        other = make_athlete(world.club)
        run = make_gate_run(
            world.source, other, attempt_external_id="run-7", started_at="2026-05-03T09:00:00Z"
        )
        make_attempt(world.source, world.athlete, world.session, external_id="run-7", gates=None)

        shown = admin.get(f"gate-runs/{run.id}/").json()

        assert shown["unmatched_because"] == "other_athlete"
        (named,) = shown["suggestions"]
        assert (named["external_id"], named["is_named"]) == ("run-7", True)
        assert named["athlete"] == str(world.athlete.id)

    def test_are_of_the_coachs_own_athletes_only(self, world: World):
        make_attempt(world.source, world.athlete, world.session, started_at=STARTED_AT)
        make_gate_run(world.source, started_at=STARTED_AT)

        (run,) = listed(world.as_("coach"))

        assert run["suggestions"] == []


class TestByHand:
    def test_a_run_is_matched_and_unmatched(self, world: World, admin: Api):
        attempt = make_attempt(world.source, world.athlete, world.session, gates=None)
        run = make_gate_run(world.source, started_at="2026-05-02T10:00:00Z")

        matched = admin.post(f"gate-runs/{run.id}/match/", {"attempt": str(attempt.id)})
        unmatched = admin.post(f"gate-runs/{run.id}/unmatch/", {"reason": "Another athlete."})

        assert (matched.status_code, unmatched.status_code) == (200, 200)
        assert (matched.json()["attempt"], matched.json()["matched_by"]) == (
            str(attempt.id),
            "hand",
        )
        assert unmatched.json()["unmatched_because"] == "by_hand"
        versions = admin.get(f"attempts/{attempt.id}/corrections/").json()["results"]
        assert [each["kind"] for each in versions] == ["gates_filled", "gates_removed"]
        assert versions[1]["reason"] == "Another athlete."

    def test_each_refusal_has_its_code(self, world: World, admin: Api):
        filled = make_attempt(world.source, world.athlete, world.session)
        empty = make_attempt(world.source, world.athlete, world.session, gates=None)
        run = make_gate_run(world.source, started_at="2026-05-02T10:00:00Z")
        bad_run = make_gate_run(world.source, at_m=[4.5], time_s=[5.3])
        unknown = "019a0000-0000-7000-8000-000000000123"

        def post(which: GateRun, action: str, body: dict[str, str]) -> tuple[int, str]:
            answer = admin.post(f"gate-runs/{which.id}/{action}/", body)
            return answer.status_code, answer.json()["code"]

        assert post(run, "match", {"attempt": str(filled.id)}) == (409, "gates_filled")
        assert post(run, "match", {"attempt": unknown}) == (404, "unknown_attempt")
        assert post(bad_run, "match", {"attempt": str(empty.id)}) == (422, "match_refused")
        assert post(run, "unmatch", {"reason": "Wrong."}) == (409, "not_matched")
        admin.post(f"gate-runs/{run.id}/match/", {"attempt": str(empty.id)})
        assert post(run, "match", {"attempt": str(filled.id)}) == (409, "already_matched")


class TestQuarantine:
    def test_a_mended_gate_run_is_stored_and_matched(self, world: World, device: Api, admin: Api):
        attempt = make_attempt(
            world.source, world.athlete, world.session, started_at=STARTED_AT, gates=None
        )
        bad = make_gate_times(world.athlete, started_at=STARTED_AT, at_m=[31, 11, 6])
        device.post("gate-runs/", bad)
        (kept,) = admin.get("quarantine/?kind=gate_run").json()["results"]

        mended = device.post(
            f"quarantine/{kept['id']}/replay/", {"row": bad | {"at_m": [31, 11, 6, 1]}}
        )

        assert (mended.status_code, mended.json()["kind"]) == (201, "gate_run")
        assert admin.get(f"gate-runs/{mended.json()['id']}/").json()["attempt"] == str(attempt.id)
        assert admin.get("quarantine/").json()["results"] == []
        assert admin.get(f"quarantine/{kept['id']}/").json()["replayed_at"] is not None

    def test_a_gate_run_is_stored_as_it_was_once_the_athlete_exists(
        self, world: World, device: Api, admin: Api
    ):
        device.post("gate-runs/", make_gate_times(athlete="ext:A-new"))
        (kept,) = admin.get("quarantine/").json()["results"]
        refused = device.post(f"quarantine/{kept['id']}/replay/", {})
        assert refused.json()["code"] == "row_refused"
        make_athlete(world.club, code="A-new")

        assert device.post(f"quarantine/{kept['id']}/replay/", {}).status_code == 201

    def test_the_same_text_at_two_doors_is_two_rows(self, world: World, device: Api, admin: Api):
        for door in ("attempts/", "gate-runs/"):
            device.post(door, {"external_id": "neither"})

        rows = admin.get("quarantine/").json()["results"]

        assert {row["kind"] for row in rows} == {"attempt", "gate_run"}

    def test_a_device_sees_its_own_rows_only(self, world: World, device: Api):
        device.post("gate-runs/", {"external_id": "neither"})
        (kept,) = device.get("quarantine/").json()["results"]
        other = Api(world.club.slug, make_device_token(world.club))

        assert device.get(f"quarantine/{kept['id']}/").json() == kept
        assert json.loads(kept["raw"]) == {"external_id": "neither"}
        assert other.get("quarantine/").json()["results"] == []
        assert other.get(f"quarantine/{kept['id']}/").status_code == 404

    def test_is_filtered_by_code_and_id(self, world: World, device: Api, admin: Api):
        device.post("gate-runs/", make_gate_times(world.athlete, external_id="a", at_m=[]))
        device.post("gate-runs/", make_gate_times(world.athlete, external_id="b", surprise=1))

        for query in ("?code=unknown_field", "?external_id=b"):
            (row,) = admin.get(f"quarantine/{query}").json()["results"]
            assert row["external_id"] == "b"
