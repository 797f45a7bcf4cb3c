"""Idempotency-Key: a write without an id of its own may be sent again (IETF draft)."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from athletes.models import CoachAssignment
from clubs.models import AccessToken, AnsweredRequest
from clubs.services import answering
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World

TOKEN = {"name": "Notebook", "scopes": ["analytics:read", "club:read"]}


def tokens_named(world: World, name: str) -> int:
    with club_scope(world.club):
        return AccessToken.objects.filter(name=name).count()


class TestAWriteSentAgain:
    def test_is_done_once_and_answered_again(self, world: World):
        coach = world.as_("coach")

        first = coach.post("tokens/", TOKEN, Idempotency_Key="a-1")
        again = coach.post("tokens/", TOKEN, Idempotency_Key='"a-1"')

        assert (first.status_code, again.status_code) == (201, 201)
        assert "Answer-Repeated" not in first
        assert again["Answer-Repeated"] == "true"
        assert again["Cache-Control"] == "no-store"
        assert tokens_named(world, "Notebook") == 1

    def test_never_tells_a_secret_twice(self, world: World):
        coach = world.as_("coach")

        first = coach.post("tokens/", TOKEN, Idempotency_Key="a-1").json()
        again = coach.post("tokens/", TOKEN, Idempotency_Key="a-1").json()

        assert again == {**first, "secret": None}
        with club_scope(world.club):
            assert first["secret"] not in str(AnsweredRequest.objects.get().answer)

    def test_may_order_its_fields_otherwise(self, world: World):
        coach = world.as_("coach")
        coach.post("tokens/", TOKEN, Idempotency_Key="a-1")

        again = coach.post("tokens/", dict(reversed(TOKEN.items())), Idempotency_Key="a-1")

        assert again["Answer-Repeated"] == "true"

    def test_with_another_body_is_refused(self, world: World):
        coach = world.as_("coach")
        coach.post("tokens/", TOKEN, Idempotency_Key="a-1")

        other = coach.post("tokens/", {**TOKEN, "name": "Phone"}, Idempotency_Key="a-1")

        assert (other.status_code, other.json()["code"]) == (422, "key_reused")
        assert tokens_named(world, "Phone") == 0

    def test_is_tried_again_when_it_was_refused(self, world: World):
        coach = world.as_("coach")
        refused = coach.post("tokens/", {**TOKEN, "scopes": []}, Idempotency_Key="a-1")

        mended = coach.post("tokens/", TOKEN, Idempotency_Key="a-1")

        assert (refused.status_code, mended.status_code) == (400, 201)

    def test_belongs_to_who_sent_it(self, world: World):
        world.as_("coach").post("tokens/", TOKEN, Idempotency_Key="a-1")

        other = world.as_("admin").post("tokens/", TOKEN, Idempotency_Key="a-1")

        assert "Answer-Repeated" not in other
        assert tokens_named(world, "Notebook") == 2

    @pytest.mark.parametrize("key", ["", "two words", "x" * 256, "ü"])
    def test_has_a_key_of_visible_ascii(self, world: World, key: str):
        refused = world.as_("coach").post("tokens/", TOKEN, Idempotency_Key=key)

        assert (refused.status_code, refused.json()["code"]) == (400, "invalid_header")

    def test_is_forgotten_after_a_day(self, world: World):
        coach = world.as_("coach")
        coach.post("tokens/", TOKEN, Idempotency_Key="a-1")
        coach.post("tokens/", TOKEN, Idempotency_Key="a-2")
        with club_scope(world.club):
            AnsweredRequest.objects.filter(key="a-1").update(
                answered_at=timezone.now() - timedelta(days=1, seconds=1)
            )

        assert answering.forget_answers() == 1
        assert "Answer-Repeated" not in coach.post("tokens/", TOKEN, Idempotency_Key="a-1")
        assert "Answer-Repeated" in coach.post("tokens/", TOKEN, Idempotency_Key="a-2")


SPLITS = [{"at_m": 10.0, "time_s": 2.01}, {"at_m": 30.0, "time_s": 4.44}]
SPRINT = {"start": "standing", "splits": SPLITS}


def writes(world: World) -> dict[str, tuple[str, dict[str, Any]]]:
    """Return an address and a body for each kind of write that tells of an athlete."""
    about, run_up = f"athletes/{world.athlete.id}", f"approaches/{world.approach.id}"
    sheet = factories.make_reading(world.athlete, world.session, external_id=None, session=None)
    return {
        "sprint test": (f"{about}/sprint-tests/", {"tested_date": "2026-04-11", **SPRINT}),
        "plan": (f"{run_up}/plans/", {"start_mark_m": 34.3, "aim_m": 0.06, "reason": "Short."}),
        "design for an athlete": (
            "approaches/design/",
            {"athlete": str(world.athlete.id), "sprint": SPRINT, "steps": 16},
        ),
        "design of a run-up": (
            "approaches/design/",
            {"approach": str(world.approach.id), "sprint": SPRINT},
        ),
        "typed attempt": (f"sessions/{world.session.id}/attempts/", sheet),
    }


class TestAChargeThatHasEnded:
    @pytest.mark.parametrize(
        ("write", "refusal"),
        [
            ("sprint test", (404, "unknown_athlete")),
            ("plan", (404, "not_found")),
            ("design for an athlete", (404, "unknown_athlete")),
            ("design of a run-up", (404, "not_found")),
            ("typed attempt", (422, "row_refused")),
        ],
    )
    def test_ends_what_is_answered_again(self, world: World, write: str, refusal: tuple[int, str]):
        coach = factories.make_member(world.club)
        with club_scope(world.club):
            charge = CoachAssignment.objects.create(
                club=world.club, coach=coach, athlete=world.athlete, from_date="2026-01-01"
            )
        api = Api(world.club.slug, factories.make_person_token(coach))
        path, body = writes(world)[write]
        named = {"Idempotency_Key": "a-1", "If_Match": "*"}
        first = api.post(path, body, **named)
        again = api.post(path, body, **named)
        with club_scope(world.club):
            charge.delete()

        later = api.post(path, body, **named)

        assert first.status_code in {200, 201}, first.json()
        assert again["Answer-Repeated"] == "true"
        assert (later.status_code, later.json()["code"]) == refusal
        assert "Answer-Repeated" not in later
