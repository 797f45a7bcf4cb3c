"""Runways and their boards over HTTP."""

from typing import Any

import pytest

from tests.api.conftest import Api, World

RUNWAY = {
    "name": "East straight",
    "surface": "polyurethane",
    "length_m": 45.0,
    "boards": [
        {"event": "long_jump", "to_pit_m": 2.0},
        {"event": "triple_jump", "to_pit_m": 9.0},
    ],
}


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


def made(admin: Api) -> tuple[str, Any]:
    answer = admin.post("runways/", RUNWAY)
    return f"runways/{answer.json()['id']}/", answer


class TestARunway:
    def test_is_made_with_its_boards(self, admin: Api):
        path, answer = made(admin)

        assert answer.status_code == 201
        assert answer["Location"].endswith(path)
        read = admin.get(path)
        assert read.json() == answer.json()
        assert sorted(board["to_pit_m"] for board in read.json()["boards"]) == [2.0, 9.0]

    def test_has_a_name_of_its_own(self, admin: Api):
        made(admin)

        again = admin.post("runways/", RUNWAY)

        assert (again.status_code, again.json()["code"]) == (409, "already_exists")

    def test_keeps_its_boards_when_its_name_changes(self, admin: Api):
        path, _ = made(admin)

        changed = admin.patch(path, {"name": "West straight"})

        assert (changed.status_code, len(changed.json()["boards"])) == (200, 2)

    def test_takes_other_boards_as_a_new_version(self, admin: Api):
        path, answer = made(admin)
        boards = [
            {"event": "long_jump", "to_pit_m": 2.0},
            {"event": "triple_jump", "to_pit_m": 13.0},
        ]

        changed = admin.patch(path, {"boards": boards}, if_match=answer["ETag"])

        assert changed.status_code == 200
        assert changed["ETag"] != answer["ETag"]
        assert admin.get(path)["ETag"] == changed["ETag"]
        assert sorted(board["to_pit_m"] for board in changed.json()["boards"]) == [2.0, 13.0]

    def test_with_the_boards_that_it_has_is_no_change(self, admin: Api):
        path, answer = made(admin)

        same = admin.patch(path, {"boards": RUNWAY["boards"]})

        assert same["ETag"] == answer["ETag"]

    @pytest.mark.parametrize(
        ("boards", "code", "pointer"),
        [
            ([{"event": "long_jump", "to_pit_m": 2.0}] * 2, "given_twice", "/boards/1"),
            ([{"event": "long_jump"}], "required", "/boards/0/to_pit_m"),
            ([{"event": "hop", "to_pit_m": 2.0}], "unknown_value", "/boards/0/event"),
            ([{"event": "long_jump", "to_pit_m": 0.0}], "min_value", "/boards/0/to_pit_m"),
            (
                [{"event": "triple_jump", "to_pit_m": 12.0}],
                "board_off_runway",
                "/boards/0/to_pit_m",
            ),
        ],
    )
    def test_refuses_boards_that_cannot_be(self, admin: Api, boards: Any, code: str, pointer: str):
        path, answer = made(admin)

        refused = admin.patch(path, {"length_m": 11.0, "boards": boards})

        assert refused.status_code == 400
        assert [(each["code"], each["pointer"]) for each in refused.json()["errors"]] == [
            (code, pointer)
        ]
        assert admin.get(path)["ETag"] == answer["ETag"]

    def test_is_found_by_its_event(self, admin: Api):
        path, _ = made(admin)

        found = admin.get("runways/?event=triple_jump").json()["results"]
        indoors = admin.get("runways/?indoor=true").json()["results"]

        assert [f"runways/{each['id']}/" for each in found] == [path]
        assert indoors == []
