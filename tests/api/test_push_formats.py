"""One attempt is one attempt, by whichever door it comes and however it is written."""

import gzip
import json
from collections.abc import Callable
from typing import Any

import pytest

from approaches.models import Attempt, QuarantinedRow, Session
from clubs.models import AuditEntry, Club
from common.club_scope import club_scope
from tests.api.conftest import Api, World
from tests.factories import csv_of, make_device_token, make_reading, make_source

Reading = dict[str, Any]
DOORS: dict[str, tuple[str, Callable[..., bytes]]] = {
    "json": ("application/json", lambda *rows: json.dumps(rows).encode()),
    "ndjson": ("application/x-ndjson", lambda *rows: b"\n".join(map(_line, rows))),
    "csv": ("text/csv", csv_of),
}
COUNTS = ("created", "known", "conflicts", "rejected")


def _line(reading: Reading) -> bytes:
    return json.dumps(reading).encode()


def push(caller: Api, door: str, *rows: Reading, packed: bool = False, query: str = "") -> Any:
    media_type, write = DOORS[door]
    body = write(*rows)
    headers = {"Content_Encoding": "gzip"} if packed else {}
    answer = caller.post(
        f"attempts/batch/{query}", gzip.compress(body) if packed else body, media_type, **headers
    )
    assert answer.status_code == 200, answer.content
    return answer.json()


def counts(answer: dict[str, Any]) -> tuple[int, ...]:
    return tuple(answer[name] for name in COUNTS)


def make_rows(world: World) -> list[Reading]:
    """Attempts that have everything, little, and arrays of different lengths with holes."""
    return [
        make_reading(world.athlete, world.session),
        make_reading(world.athlete, world.session, take_off_foot_ok=True, wind_mps=-0.0),
        make_reading(
            world.athlete,
            world.session,
            footfalls={"toe_m": [0.1, None, 4.7, 6.9], "contact": ["flat", None, None, "ball"]},
            official_m=6.4,
            phases=["acceleration", "transition"],
        ),
        make_reading(
            world.athlete,
            world.session,
            **dict.fromkeys(("footfalls", "gates", "official_m", "wind_mps", "start_mark_m")),
            outcome="no_jump",
        ),
    ]


@pytest.mark.parametrize("packed", [False, True], ids=["plain", "gzip"])
@pytest.mark.parametrize("door", DOORS)
class TestEveryDoor:
    def test_stores_the_same_rows_once(self, world: World, door: str, packed: bool):
        rows, device = make_rows(world), world.as_("device")

        first = push(device, door, *rows, packed=packed)
        others = [push(device, other, *rows) for other in DOORS]

        assert counts(first) == (4, 0, 0, 0)
        assert [counts(other) for other in others] == [(0, 4, 0, 0)] * 3
        with club_scope(world.club):
            assert Attempt.objects.count() == 4

    def test_refuses_the_same_rows_for_the_same_reasons(
        self, world: World, door: str, packed: bool
    ):
        bad = [
            make_reading(world.athlete, world.session, **fields)
            for fields in (
                {"athlete": "ext:nobody"},
                {"wind_mps": 99},
                {"footfalls": {"toe_m": [0.1, 0.05]}},
                {"gates": {"at_m": [11, 6], "time_s": [4.154, 4.2]}},
                {"started_at": "soon"},
                {"finish": "somersault"},
                {"session": "x" * 65},
                {"approach": None},
                {"outcome": "no_jump"},
            )
        ]

        answer = push(world.as_("device"), door, *bad, packed=packed)

        assert [(row["pointer"], row["code"]) for row in answer["rows"]] == [
            ("/athlete", "unknown_athlete"),
            ("/wind_mps", "wind_out_of_range"),
            ("/footfalls/toe_m/1", "positions_must_grow"),
            ("/gates/time_s/1", "speed_out_of_range"),
            ("/started_at", "not_a_time"),
            ("/finish", "unknown_value"),
            ("/session", "wrong_length"),
            ("/approach", "required"),
            ("/official_m", "official_without_valid"),
        ]
        assert [row["line"] for row in answer["rows"]] == {
            "json": [None] * 9,
            "ndjson": list(range(1, 10)),
            "csv": list(range(2, 11)),
        }[door]

    def test_a_refused_row_can_be_mended_and_replayed(self, world: World, door: str, packed: bool):
        bad = make_reading(world.athlete, world.session, wind_mps=99)
        device = world.as_("device")
        push(device, door, bad, packed=packed)
        with club_scope(world.club):
            kept = QuarantinedRow.objects.get()
        as_kept = json.loads(kept.raw)

        replayed = device.post(f"quarantine/{kept.id}/replay/", {"row": as_kept | {"wind_mps": 1}})

        assert replayed.status_code == 201
        assert counts(push(device, "json", bad | {"wind_mps": 1})) == (0, 1, 0, 0)


class TestFingerprint:
    def test_is_the_same_by_every_door(self, world: World):
        rows = make_rows(world)
        sources = [make_source(world.club) for _ in DOORS]
        for source, door in zip(sources, DOORS, strict=True):
            push(Api(world.club.slug, make_device_token(world.club, source=source)), door, *rows)

        with club_scope(world.club):
            stored = [
                {
                    attempt.external_id: (bytes(attempt.fingerprint), _measured(attempt))
                    for attempt in Attempt.objects.filter(source=source)
                }
                for source in sources
            ]

        assert len(stored[0]) == 4
        assert stored[0] == stored[1] == stored[2]


def _measured(attempt: Attempt) -> str:
    # As text, since NaN is unlike itself.
    return repr(
        [
            getattr(attempt, field.attname)
            for field in Attempt._meta.concrete_fields
            if field.attname not in {"id", "source_id", "created_at", "fingerprint"}
        ]
    )


class TestSendingAgain:
    def test_knows_what_it_has_in_other_words(self, world: World):
        device = world.as_("device")
        reading = make_reading(world.athlete, world.session)
        push(device, "json", reading)
        footfalls = {
            "contact": ["flat", "flat", "ball", None],
            **{name: [*reading["footfalls"][name], None] for name in ("toe_off_s", "toe_m")},
            "touchdown_s": [*reading["footfalls"]["touchdown_s"], None],
        }
        reworded = dict(reversed(reading.items())) | {
            "started_at": "2026-05-02T03:14:07.250000-04:00",
            "official_m": 6.41,
            "wind_mps": 0.80,
            "take_off_foot_ok": None,
            "phases": None,
            "footfalls": footfalls,
            "athlete": str(world.athlete.id),
        }

        assert [counts(push(device, door, reworded)) for door in ("json", "ndjson")] == [
            (0, 1, 0, 0)
        ] * 2

    @pytest.mark.parametrize("door", DOORS)
    def test_one_changed_number_is_a_conflict_and_changes_nothing(self, world: World, door: str):
        device, admin = world.as_("device"), world.as_("admin")
        reading = make_reading(world.athlete, world.session)
        attempt_id = device.post("attempts/", reading).json()["id"]
        before = admin.get(f"attempts/{attempt_id}/")
        changed = reading | {"footfalls": reading["footfalls"] | {"toe_m": [0.07, 2.21, 4.59]}}

        answer = push(device, door, changed)
        single = device.post("attempts/", changed)

        assert counts(answer) == (0, 0, 1, 0)
        assert answer["complete"] is False
        (row,) = answer["rows"]
        assert (row["code"], row["pointer"], row["send_again_helps"]) == (
            "conflict",
            "/external_id",
            False,
        )
        assert (single.status_code, single.json()["code"]) == (409, "conflict")
        after = admin.get(f"attempts/{attempt_id}/")
        assert (after.content, after.headers["ETag"]) == (before.content, before.headers["ETag"])

    @pytest.mark.parametrize("door", DOORS)
    def test_the_first_of_twins_in_a_batch_is_kept(self, world: World, door: str):
        first = make_reading(world.athlete, world.session, external_id="twin")
        other = make_reading(world.athlete, world.session)

        answer = push(
            world.as_("device"), door, first, other, first, first | {"wind_mps": -1.0}, first
        )

        assert counts(answer) == (2, 2, 1, 0)
        assert answer["received"] == 5
        assert [(row["index"], row["code"]) for row in answer["rows"]] == [(3, "conflict")]
        with club_scope(world.club):
            assert Attempt.objects.get(external_id="twin").wind_mps == 0.8

    @pytest.mark.parametrize("door", DOORS)
    def test_twins_of_a_stored_attempt_are_judged_against_it(self, world: World, door: str):
        stored = make_reading(world.athlete, world.session, external_id="twin")
        device = world.as_("device")
        push(device, "json", stored)

        answer = push(device, door, stored | {"wind_mps": -1.0}, stored, stored | {"wind_mps": 1.0})

        assert counts(answer) == (0, 1, 2, 0)

    def test_a_bad_twin_does_not_keep_a_good_one_out(self, world: World):
        good = make_reading(world.athlete, world.session, external_id="twin")

        answer = push(world.as_("device"), "json", good | {"wind_mps": 99}, good)

        assert counts(answer) == (1, 0, 0, 1)


class TestSessionsOnRequest:
    def test_are_made_on_the_clubs_day_of_the_first_attempt(self, world: World):
        """Where it is summer in Vienna, 22:30 UTC is half past midnight of the next day."""
        with club_scope(world.club):
            Club.objects.update(time_zone="Europe/Vienna")
        rows = [
            make_reading(
                world.athlete, world.session, session="night", started_at=f"2026-06-01T22:{minute}Z"
            )
            for minute in ("45:00", "30:00", "50:00")
        ]
        device = world.as_("device")

        answer = push(device, "csv", *rows, query="?make_sessions=true")
        again = push(device, "csv", *rows)

        assert (counts(answer), counts(again)) == ((3, 0, 0, 0), (0, 3, 0, 0))
        with club_scope(world.club):
            made = Session.objects.get(code="night")
            noted = AuditEntry.objects.get(action="session_added")
        assert (made.kind, str(made.held_date)) == ("training", "2026-06-02")
        assert noted.subject_ids == [made.id]

    @pytest.mark.parametrize(
        "fields",
        [
            {"athlete": "ext:nobody"},
            {"approach": "LJ-99"},
            {"wind_mps": 99},
            {"external_id": "taken"},
        ],
    )
    def test_are_not_made_for_rows_that_are_not_stored(self, world: World, fields: Reading):
        device = world.as_("device")
        push(device, "json", make_reading(world.athlete, world.session, external_id="taken"))
        bad = make_reading(world.athlete, world.session, session="never", **fields)

        answer = push(device, "json", bad, query="?make_sessions=true")

        assert answer["created"] == 0
        with club_scope(world.club):
            assert not Session.objects.filter(code="never").exists()

    @pytest.mark.parametrize(
        ("name", "code"),
        [
            ("x" * 41, "wrong_length"),
            ("019a0000-0000-7000-8000-000000000017", "unknown_session"),
        ],
    )
    def test_need_a_name_that_a_session_can_have(self, world: World, name: str, code: str):
        row = make_reading(world.athlete, world.session, session=name)

        answer = push(world.as_("device"), "json", row, query="?make_sessions=true")

        assert [(each["pointer"], each["code"]) for each in answer["rows"]] == [("/session", code)]

    def test_are_not_made_by_a_dry_run(self, world: World):
        row = make_reading(world.athlete, world.session, session="never")

        answer = push(world.as_("device"), "json", row, query="?make_sessions=true&dry_run=true")

        assert answer["created"] == 1
        with club_scope(world.club):
            assert not Session.objects.filter(code="never").exists()
