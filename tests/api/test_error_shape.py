"""Every refusal has the one shape (RFC 9457), whoever refuses."""

from typing import Any

import pytest
from django.conf import LazySettings
from django.test import Client

from clubs import selectors
from tests.api.conftest import Api, World

# RFC 9457, 3.1 (type, title, status, detail) and our own members.
MEMBERS = {"type", "title", "status", "detail", "code", "request_id", "errors"}


def check_shape(answer: Any, status: int, code: str) -> dict[str, Any]:
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    problem: dict[str, Any] = answer.json()
    assert set(problem) == MEMBERS
    assert (problem["status"], problem["code"]) == (status, code)
    assert problem["request_id"] == answer["X-Request-ID"] != ""
    assert problem["type"].endswith(f"#{code}")
    for fault in problem["errors"]:
        assert set(fault) == {"pointer", "code", "detail"}
        assert fault["pointer"] == "" or fault["pointer"].startswith("/")
    return problem


class TestShape:
    def test_of_a_refused_field(self, world: World):
        answer = world.as_("admin").post("athletes/", {"a/b~c": 1})

        problem = check_shape(answer, 400, "invalid_input")
        # RFC 6901, 3: ~ is written ~0 and / is written ~1.
        assert problem["errors"][0]["pointer"] == "/a~1b~0c"

    def test_of_a_field_deep_inside(self, world: World):
        answer = world.as_("admin").post(
            f"approaches/{world.approach.id}/plans/",
            {"start_mark_m": 34.3, "check_marks": [{"footfall": 6, "at_m": 9}, {"footfall": 2}]},
            if_match="*",
        )

        problem = check_shape(answer, 400, "invalid_input")
        assert [fault["pointer"] for fault in problem["errors"]] == ["/check_marks/1/at_m"]

    def test_of_a_missing_token(self, world: World):
        answer = Api(world.club.slug, None).get("athletes/")

        check_shape(answer, 401, "not_authenticated")
        assert answer["WWW-Authenticate"].startswith("Bearer")  # RFC 6750, 3

    def test_of_a_method_that_is_not_taken(self, world: World):
        admin = world.as_("admin")

        answer = admin.send("DELETE", admin.base + "athletes/")

        check_shape(answer, 405, "method_not_allowed")
        # RFC 9110, 15.5.6: the answer must say which methods are.
        assert {"GET", "POST"} <= set(answer["Allow"].split(", "))

    def test_of_an_accept_that_cannot_be_met(self, world: World):
        answer = world.as_("admin").get("athletes/", Accept="image/png")

        check_shape(answer, 406, "not_acceptable")

    def test_of_a_content_type_that_is_not_taken(self, world: World):
        answer = world.as_("admin").post("athletes/", "code=A-1", "text/plain")

        check_shape(answer, 415, "unsupported_media_type")

    def test_of_a_body_over_the_limit(self, world: World):
        answer = world.as_("admin").post("athletes/", b" " * (1024 * 1024 + 1))

        check_shape(answer, 413, "body_too_large")

    @pytest.mark.parametrize("path", ["/api/v1/nothing/", "/api/v1/clubs/a%20b/", "/api/v1/clubs/"])
    def test_of_no_such_address(self, db: None, path: str):
        check_shape(Client().get(path), 404, "not_found")

    def test_a_push_without_the_last_slash_is_refused_and_not_redirected(self, world: World):
        check_shape(world.as_("device").post("attempts", {}), 404, "not_found")

    def test_of_our_own_failure_without_internals(
        self, world: World, monkeypatch: pytest.MonkeyPatch
    ):
        def fail() -> None:
            raise RuntimeError("a table is on fire")

        monkeypatch.setattr(selectors, "list_squads", fail)

        answer = world.as_("admin").get("squads/")

        problem = check_shape(answer, 500, "internal_error")
        assert "fire" not in answer.content.decode()
        assert problem["errors"] == []

    def test_of_a_host_that_is_not_ours(self, db: None, settings: LazySettings):
        settings.ALLOWED_HOSTS = ["penult.example"]

        answer = Client(raise_request_exception=False).get(
            "/api/v1/nothing/", headers={"Host": "elsewhere.example"}
        )

        check_shape(answer, 400, "bad_request")
