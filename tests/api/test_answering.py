"""Idempotency-Key: a write without an id of its own may be sent again (IETF draft)."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clubs.models import AccessToken, AnsweredRequest
from clubs.services import answering
from common.club_scope import club_scope
from tests.api.conftest import World

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
