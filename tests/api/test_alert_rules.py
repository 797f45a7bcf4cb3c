"""Alert rules over HTTP: what holds, what may change, and how a refusal names it."""

from typing import Any

import pytest

from tests.api.conftest import Api, World

SHARE = "alert-rules/no_jump_share/"


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


class TestReading:
    def test_lists_every_kind_with_what_holds(self, world: World, admin: Api):
        admin.patch(SHARE, {"thresholds": {"no_jump_share_limit": 0.25}})

        listed = world.as_("athlete").get("alert-rules/").json()["results"]

        assert [rule["kind"] for rule in listed] == ["level", "spread", "no_jump_share", "progress"]
        assert listed[2] == {
            "kind": "no_jump_share",
            "is_active": True,
            "thresholds": {
                "calm_sessions": 2,
                "no_jump_share_limit": 0.25,
                "no_jump_attempts": 10,
            },
            "own_thresholds": {"no_jump_share_limit": 0.25},
            "defaults": {"calm_sessions": 2, "no_jump_share_limit": 0.32, "no_jump_attempts": 10},
        }
        assert world.as_("coach").get(SHARE).json() == listed[2]

    def test_of_a_kind_that_is_none_is_404(self, admin: Api):
        for answer in (
            admin.get("alert-rules/speed/"),
            admin.patch("alert-rules/speed/", {"is_active": False}),
        ):
            assert (answer.status_code, answer.json()["code"]) == (404, "not_found")


class TestChanging:
    def test_starts_from_nothing_set(self, admin: Api):
        read = admin.get(SHARE)

        first = admin.patch(SHARE, {"is_active": False}, if_match=read["ETag"])
        late = admin.patch(SHARE, {"is_active": True}, if_match=read["ETag"])
        second = admin.patch(SHARE, {"is_active": True}, if_match=first["ETag"])

        versions = [each["ETag"].partition("-")[0] for each in (read, first, second)]
        assert versions == ['"0', '"1', '"2']
        assert (late.status_code, late.json()["code"]) == (412, "stale_version")
        assert second.json()["is_active"] is True
        assert admin.patch(SHARE, {"is_active": False}, if_match=None).status_code == 428

    def test_of_one_club_is_none_of_another(self, admin: Api, second_world: World):
        admin.patch(SHARE, {"is_active": False})

        assert second_world.as_("admin").get(SHARE)["ETag"].startswith('"0-')
        assert second_world.as_("admin").get(SHARE).json()["is_active"] is True

    @pytest.mark.parametrize(
        ("body", "pointer", "code"),
        [
            ({}, "", "empty"),
            ({"thresholds": {"no_jump_attempts": 21}}, "/no_jump_attempts", "max_value"),
            ({"thresholds": {"no_jump_share_limit": 1}}, "/no_jump_share_limit", "max_value"),
            ({"thresholds": {"calm_sessions": "2"}}, "/calm_sessions", "wrong_type"),
            ({"thresholds": {"limit": 0.3}}, "/limit", "unknown_field"),
            (
                {"thresholds": {"progress_sessions": 3}},
                "/progress_sessions",
                "threshold_of_another_kind",
            ),
        ],
    )
    def test_names_the_field_and_the_rule(
        self, admin: Api, body: dict[str, Any], pointer: str, code: str
    ):
        answer = admin.patch(SHARE, body)

        (fault,) = answer.json()["errors"]
        assert answer.status_code == 400
        assert fault["code"] == code
        assert fault["pointer"] == (f"/thresholds{pointer}" if pointer else "")
        assert admin.get(SHARE)["ETag"].startswith('"0-')
