"""Attempts that a person types in: stored once for each key, under the person's own source."""

from typing import Any

import pytest

from approaches.models import Attempt, QuarantinedRow
from clubs.models import AnsweredRequest, Source
from common.club_scope import club_scope
from tests.api.conftest import Api, World
from tests.factories import make_reading

KEY = "sheet-3-line-7"


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


@pytest.fixture
def path(world: World) -> str:
    return f"sessions/{world.session.id}/attempts/"


def typed(world: World, **fields: Any) -> dict[str, Any]:
    return make_reading(world.athlete, world.session, external_id=None, session=None, **fields)


def stored(world: World) -> list[Attempt]:
    with club_scope(world.club):
        return list(Attempt.objects.select_related("source"))


class TestTypingIn:
    def test_stores_it_under_the_persons_source_with_an_id_made_for_it(
        self, world: World, admin: Api, path: str
    ):
        answer = admin.post(path, typed(world), Idempotency_Key=KEY)

        assert answer.status_code == 201
        (attempt,) = stored(world)
        assert answer.json() == {
            "id": str(attempt.id),
            "external_id": attempt.external_id,
            "created": True,
        }
        assert attempt.source.kind == "person"
        assert attempt.session_id == world.session.id
        assert (attempt.plan_id, attempt.toe_m) == (world.plan.id, [0.07, 2.21, 4.58])

    def test_takes_the_little_that_stands_on_a_sheet(self, world: World, admin: Api, path: str):
        sheet = {
            "athlete": f"ext:{world.athlete.code}",
            "approach": world.approach.code,
            "started_at": "2026-05-02T09:14:00+02:00",
            "finish": "run_through",
        }

        answer = admin.post(path, sheet, Idempotency_Key=KEY)

        assert answer.status_code == 201

    def test_needs_a_key(self, world: World, admin: Api, path: str):
        refused = admin.post(path, typed(world))

        assert (refused.status_code, refused.json()["code"]) == (400, "key_required")
        assert stored(world) == []

    def test_answers_the_same_key_again_and_stores_it_once(
        self, world: World, admin: Api, path: str
    ):
        body = typed(world)
        first = admin.post(path, body, Idempotency_Key=KEY)

        again = admin.post(path, dict(reversed(body.items())), Idempotency_Key=KEY)

        assert (again.status_code, again.json()) == (201, first.json())
        assert again["Answer-Repeated"] == "true"
        assert len(stored(world)) == 1

    def test_refuses_the_same_key_for_another_attempt(self, world: World, admin: Api, path: str):
        admin.post(path, typed(world), Idempotency_Key=KEY)

        refused = admin.post(path, typed(world, wind_mps=0.1), Idempotency_Key=KEY)

        assert (refused.status_code, refused.json()["code"]) == (422, "key_reused")

    def test_knows_a_key_still_when_its_answer_is_forgotten(
        self, world: World, admin: Api, path: str
    ):
        body = typed(world)
        first = admin.post(path, body, Idempotency_Key=KEY)
        with club_scope(world.club):
            AnsweredRequest.objects.all().delete()

        again = admin.post(path, body, Idempotency_Key=KEY)
        with club_scope(world.club):
            AnsweredRequest.objects.all().delete()
        other = admin.post(path, {**body, "wind_mps": 0.1}, Idempotency_Key=KEY)

        assert (again.status_code, again.json()) == (200, {**first.json(), "created": False})
        assert (other.status_code, other.json()["code"]) == (409, "conflict")
        assert len(stored(world)) == 1

    def test_stores_two_equal_attempts_with_two_keys(self, world: World, admin: Api, path: str):
        body = typed(world, started_at="2026-05-02T09:14:00+02:00")

        for key in ("first", "second"):
            admin.post(path, body, Idempotency_Key=key)

        assert len(stored(world)) == 2

    def test_names_every_rule_that_is_broken_and_keeps_nothing(
        self, world: World, admin: Api, path: str
    ):
        refused = admin.post(
            path, typed(world, wind_mps=99, phases=["attack"]), Idempotency_Key=KEY
        )

        assert (refused.status_code, refused.json()["code"]) == (422, "row_refused")
        assert {fault["pointer"] for fault in refused.json()["errors"]} == {"/wind_mps", "/phases"}
        with club_scope(world.club):
            assert Attempt.objects.count() == QuarantinedRow.objects.count() == 0
        # What was refused was not done: mended, it may come under the same key.
        assert admin.post(path, typed(world), Idempotency_Key=KEY).status_code == 201

    @pytest.mark.parametrize("field", ["external_id", "session"])
    def test_takes_no_id_and_no_other_session(
        self, world: World, admin: Api, path: str, field: str
    ):
        refused = admin.post(path, {**typed(world), field: "mine"}, Idempotency_Key=KEY)

        assert (refused.status_code, refused.json()["code"]) == (400, "invalid_input")
        (fault,) = refused.json()["errors"]
        assert (fault["pointer"], fault["code"]) == (f"/{field}", "unknown_field")

    def test_dry_run_checks_and_stores_nothing(self, world: World, admin: Api, path: str):
        good = admin.post(f"{path}?dry_run=true", typed(world))
        bad = admin.post(f"{path}?dry_run=true", typed(world, wind_mps=99))

        assert (good.status_code, good.json()["id"]) == (200, None)
        assert bad.json()["code"] == "row_refused"
        assert stored(world) == []

    def test_is_over_when_the_persons_source_is_closed(self, world: World, admin: Api, path: str):
        with club_scope(world.club):
            Source.objects.filter(kind="person").update(closed_at="2026-05-01T00:00:00Z")

        refused = admin.post(path, typed(world), Idempotency_Key=KEY)

        assert (refused.status_code, refused.json()["code"]) == (403, "revoked_source")
