"""Pushing over HTTP, as a club's own script would."""

import json

from approaches.models import Attempt, QuarantinedRow
from approaches.services.limits import MAX_BODY_BYTES
from common.club_scope import club_scope
from tests.api.conftest import Api, World
from tests.factories import make_device_token, make_reading

NDJSON = "application/x-ndjson"


def ndjson(*readings: object) -> bytes:
    return b"\n".join(json.dumps(each).encode() for each in readings)


class TestBatch:
    def test_stores_the_good_rows_and_names_the_bad_ones(self, world: World):
        rows = [make_reading(world.athlete, world.session) for _ in range(7)]
        rows.insert(1, make_reading(world.athlete, world.session, athlete="ext:nobody"))
        rows.insert(4, make_reading(world.athlete, world.session, wind_mps=99))
        rows.insert(8, make_reading(world.athlete, world.session, started_at="soon"))

        answer = world.as_("device").post("attempts/batch/", rows)

        assert answer.status_code == 200
        body = answer.json()
        assert (body["received"], body["created"], body["rejected"]) == (10, 7, 3)
        assert body["complete"] is False
        assert [(row["index"], row["pointer"], row["code"]) for row in body["rows"]] == [
            (1, "/athlete", "unknown_athlete"),
            (4, "/wind_mps", "wind_out_of_range"),
            (8, "/started_at", "not_a_time"),
        ]
        assert [row["send_again_helps"] for row in body["rows"]] == [True, False, False]
        with club_scope(world.club):
            assert Attempt.objects.count() == 7
            assert QuarantinedRow.objects.count() == 3

    def test_takes_ndjson_and_names_the_line(self, world: World):
        good = make_reading(world.athlete, world.session)

        answer = world.as_("device").post(
            "attempts/batch/", b"\n" + ndjson(good) + b"\n{broken\n", NDJSON
        )

        body = answer.json()
        assert (body["created"], body["rejected"]) == (1, 1)
        assert (body["rows"][0]["line"], body["rows"][0]["code"]) == (3, "not_json")

    def test_knows_the_same_batch_by_another_door(self, world: World):
        rows = [make_reading(world.athlete, world.session) for _ in range(3)]
        device = world.as_("device")
        device.post("attempts/batch/", rows)

        again = device.post("attempts/batch/", ndjson(*rows), NDJSON)

        assert again.json()["known"] == 3

    def test_dry_run_stores_nothing(self, world: World):
        rows = [make_reading(world.athlete, world.session)]

        answer = world.as_("device").post("attempts/batch/?dry_run=true", rows)

        assert answer.json()["created"] == 1
        with club_scope(world.club):
            assert Attempt.objects.count() == 0

    def test_all_or_nothing_is_422_and_stores_nothing(self, world: World):
        rows = [
            make_reading(world.athlete, world.session),
            make_reading(world.athlete, world.session, wind_mps=99),
        ]

        answer = world.as_("device").post("attempts/batch/?all_or_nothing=true", rows)

        assert answer.status_code == 422
        assert answer.json()["code"] == "batch_refused"
        assert answer.json()["errors"][0]["pointer"] == "/1/wind_mps"
        with club_scope(world.club):
            assert Attempt.objects.count() == 0

    def test_answers_a_hundred_rows_and_counts_the_rest(self, world: World):
        rows = [make_reading(world.athlete, world.session, wind_mps=99) for _ in range(103)]

        body = world.as_("device").post("attempts/batch/", rows).json()

        assert (len(body["rows"]), body["rows_omitted"]) == (100, 3)

    def test_refuses_what_is_no_batch(self, world: World):
        device = world.as_("device")
        for body, content_type, status, code in (
            (b"{}", "application/json", 400, "unreadable_body"),
            (b"a,b\n", "text/csv", 400, "invalid_columns"),
            (b"[" + b" " * MAX_BODY_BYTES + b"]", "application/json", 413, "body_too_large"),
            (b"[" + b"0," * 5000 + b"0]", "application/json", 413, "too_many_rows"),
        ):
            answer = device.post("attempts/batch/", body, content_type)
            assert (answer.status_code, answer.json()["code"]) == (status, code)


class TestOne:
    def test_is_201_then_200_then_409(self, world: World):
        device = world.as_("device")
        reading = make_reading(world.athlete, world.session)

        first = device.post("attempts/", reading)
        again = device.post("attempts/", reading)
        other = device.post("attempts/", reading | {"wind_mps": 0.1})

        assert (first.status_code, again.status_code, other.status_code) == (201, 200, 409)
        assert first.json()["id"] == again.json()["id"]
        assert other.json()["code"] == "conflict"
        stored = world.as_("admin").get(f"attempts/{first.json()['id']}/").json()
        assert stored["wind_mps"] == 0.8
        assert stored["official_m"] == "6.41"
        assert stored["footfalls"]["toe_m"] == [0.07, 2.21, 4.58]

    def test_is_422_with_every_rule_that_is_broken(self, world: World):
        reading = make_reading(world.athlete, world.session, wind_mps=99, phases=["attack"])

        answer = world.as_("device").post("attempts/", reading)

        assert answer.status_code == 422
        assert {fault["pointer"] for fault in answer.json()["errors"]} == {"/wind_mps", "/phases"}


class TestQuarantine:
    def test_a_mended_row_is_stored_and_leaves_quarantine(self, world: World):
        device = world.as_("device")
        bad = make_reading(world.athlete, world.session, wind_mps=99)
        device.post("attempts/", bad)
        (kept,) = world.as_("admin").get("quarantine/").json()["results"]
        assert json.loads(kept["raw"]) == bad

        replayed = device.post(f"quarantine/{kept['id']}/replay/", {"row": bad | {"wind_mps": 0.9}})

        assert replayed.status_code == 201
        assert world.as_("admin").get("quarantine/").json()["results"] == []
        once_more = device.post(f"quarantine/{kept['id']}/replay/", {})
        assert (once_more.status_code, once_more.json()["code"]) == (409, "already_replayed")

    def test_a_row_is_stored_as_it_was_once_the_athlete_exists(self, world: World):
        device, admin = world.as_("device"), world.as_("admin")
        device.post("attempts/", make_reading(world.athlete, world.session, session="later"))
        (kept,) = admin.get("quarantine/").json()["results"]
        refused = device.post(f"quarantine/{kept['id']}/replay/", {})
        assert refused.json()["code"] == "row_refused"
        admin.post("sessions/", {"code": "later", "held_date": "2026-05-02", "kind": "training"})

        assert device.post(f"quarantine/{kept['id']}/replay/", {}).status_code == 201

    def test_a_device_cannot_replay_another_sources_row(self, world: World):
        world.as_("device").post(
            "attempts/", make_reading(world.athlete, world.session, wind_mps=99)
        )
        (kept,) = world.as_("admin").get("quarantine/").json()["results"]
        other = Api(world.club.slug, make_device_token(world.club))

        assert other.get("quarantine/").json()["results"] == []
        assert other.post(f"quarantine/{kept['id']}/replay/", {}).status_code == 404


class TestCoach:
    def test_may_push_for_own_athletes_only(self, world: World):
        answer = world.as_("coach").post("attempts/", make_reading(world.athlete, world.session))

        assert answer.status_code == 422
        assert answer.json()["errors"][0]["code"] == "unknown_athlete"
