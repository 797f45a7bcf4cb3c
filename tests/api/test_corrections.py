"""Correcting and voiding over HTTP."""

import pytest

from approaches.models import Attempt
from tests.api.conftest import Api, World
from tests.factories import make_attempt


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


@pytest.fixture
def attempt(world: World) -> Attempt:
    return make_attempt(world.source, world.athlete, world.session)


@pytest.fixture
def path(attempt: Attempt) -> str:
    return f"attempts/{attempt.id}/"


CORRECTION = {"changes": {"wind_mps": 0.2}, "reason": "The gauge was read too early."}


class TestCorrection:
    def test_is_made_from_the_version_that_was_read(self, admin: Api, path: str):
        read = admin.get(path)

        corrected = admin.post(f"{path}corrections/", CORRECTION, If_Match=read["ETag"])

        assert corrected.status_code == 200
        assert corrected.json() == {**read.json(), "wind_mps": 0.2, "version": 2}
        assert corrected["ETag"] == admin.get(path)["ETag"] != read["ETag"]

    def test_names_the_version_that_it_starts_from(self, admin: Api, path: str):
        refused = admin.post(f"{path}corrections/", CORRECTION)

        assert (refused.status_code, refused.json()["code"]) == (428, "version_required")

    def test_is_refused_when_somebody_else_was_faster(self, admin: Api, path: str):
        etag = admin.get(path)["ETag"]
        admin.post(f"{path}corrections/", CORRECTION, If_Match=etag)

        refused = admin.post(f"{path}corrections/", CORRECTION, If_Match=etag)

        assert (refused.status_code, refused.json()["code"]) == (412, "stale_version")

    def test_says_which_rule_it_would_break(self, admin: Api, path: str):
        refused = admin.post(
            f"{path}corrections/",
            {"changes": {"wind_mps": 99, "phases": ["attack"]}, "reason": "Storm."},
            If_Match="*",
        )

        assert (refused.status_code, refused.json()["code"]) == (422, "correction_refused")
        assert {fault["pointer"] for fault in refused.json()["errors"]} == {
            "/changes/wind_mps",
            "/changes/phases",
        }
        assert admin.get(path).json()["version"] == 1

    @pytest.mark.parametrize(
        ("body", "pointer", "code"),
        [
            ({"changes": {}}, "/reason", "required"),
            ({"changes": {}, "reason": ""}, "/reason", "wrong_length"),
            ({"changes": {}, "reason": "a\0b"}, "/reason", "control_character"),
            ({"reason": "Why not."}, "/changes", "required"),
            ({"changes": {"wind_mps": "1"}, "reason": "."}, "/changes/wind_mps", "wrong_type"),
            (
                {"changes": {"voided_at": None}, "reason": "."},
                "/changes/voided_at",
                "unknown_field",
            ),
            ([], "", "wrong_type"),
        ],
    )
    def test_names_the_field_that_cannot_be_read(
        self, admin: Api, path: str, body: object, pointer: str, code: str
    ):
        refused = admin.post(f"{path}corrections/", body, If_Match="*")

        assert (refused.status_code, refused.json()["code"]) == (400, "invalid_input")
        (fault,) = refused.json()["errors"]
        assert (fault["pointer"], fault["code"]) == (pointer, code)

    def test_leaves_every_former_version_to_be_read(self, admin: Api, path: str):
        admin.post(f"{path}corrections/", CORRECTION, If_Match="*")
        admin.post(f"{path}void/", {"reason": "Somebody else ran."}, If_Match="*")

        versions = admin.get(f"{path}corrections/").json()["results"]

        assert [(each["version"], each["kind"], each["reason"]) for each in versions] == [
            (1, "corrected", "The gauge was read too early."),
            (2, "voided", "Somebody else ran."),
        ]
        assert [each["former"]["wind_mps"] for each in versions] == [0.8, 0.2]
        assert versions[0]["field_names"] == ["wind_mps"]


class TestVoid:
    def test_shows_when_it_was_done(self, admin: Api, path: str):
        etag = admin.get(path)["ETag"]

        voided = admin.post(f"{path}void/", {"reason": "Sent twice."}, If_Match=etag)

        assert voided.status_code == 200
        assert voided.json()["voided_at"] is not None
        assert voided["ETag"] != etag

    def test_is_done_once(self, admin: Api, path: str):
        admin.post(f"{path}void/", {"reason": "Sent twice."}, If_Match="*")

        again = admin.post(f"{path}void/", {"reason": "Sent twice."}, If_Match="*")

        assert (again.status_code, again.json()["code"]) == (409, "already_voided")

    def test_needs_a_reason(self, admin: Api, path: str):
        refused = admin.post(f"{path}void/", {}, If_Match="*")

        assert [fault["code"] for fault in refused.json()["errors"]] == ["required"]
