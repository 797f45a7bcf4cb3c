"""Sources and tokens over HTTP: closing, changing over, revoking."""

from typing import Any

import pytest

from clubs.models import AuditEntry
from common.club_scope import club_scope
from tests.api.conftest import Api, World

TOKEN = {"name": "Gate computer", "scopes": ["attempts:write", "plans:read"]}


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


def tokens_of(world: World) -> str:
    return f"sources/{world.source.id}/tokens/"


class TestASource:
    def test_pushes_no_more_once_it_is_closed(self, world: World, admin: Api):
        path = f"sources/{world.source.id}/"

        closed = admin.patch(path, {"closed": True}, if_match=admin.get(path)["ETag"])

        assert closed.json()["closed_at"] is not None
        assert world.as_("device").get("sessions/").status_code == 401

    def test_pushes_again_once_it_is_open(self, world: World, admin: Api):
        admin.patch(f"sources/{world.source.id}/", {"closed": True})

        admin.patch(f"sources/{world.source.id}/", {"closed": False})

        assert world.as_("device").get("sessions/").status_code == 200

    def test_of_a_person_follows_the_membership(self, admin: Api):
        sources = admin.get("sources/").json()["results"]
        person = next(each for each in sources if each["kind"] == "person")

        refused = admin.patch(f"sources/{person['id']}/", {"closed": True})

        assert refused.status_code == 400
        assert [each["code"] for each in refused.json()["errors"]] == ["not_allowed_here"]


class TestATokenOfASource:
    def test_is_changed_over_without_a_gap(self, world: World, admin: Api):
        old = admin.get(tokens_of(world)).json()["results"][0]

        new: Any = admin.post(tokens_of(world), TOKEN).json()
        changed_over = Api(world.club.slug, new["secret"])
        both = (world.as_("device"), changed_over)
        assert [each.get("sessions/").status_code for each in both] == [200, 200]
        revoked = admin.delete(f"{tokens_of(world)}{old['id']}/")

        assert revoked.status_code == 204
        assert [each.get("sessions/").status_code for each in both] == [401, 200]
        listed = admin.get(tokens_of(world)).json()["results"]
        assert {each["id"]: each["revoked_at"] is None for each in listed} == {
            old["id"]: False,
            new["id"]: True,
        }

    def test_is_one_of_two_at_most(self, world: World, admin: Api):
        admin.post(tokens_of(world), TOKEN)

        third = admin.post(tokens_of(world), TOKEN)

        assert (third.status_code, third.json()["code"]) == (409, "too_many_tokens")

    def test_revoked_twice_is_revoked(self, world: World, admin: Api):
        old = admin.get(tokens_of(world)).json()["results"][0]

        answers = [admin.delete(f"{tokens_of(world)}{old['id']}/") for _ in range(2)]

        assert [each.status_code for each in answers] == [204, 204]
        with club_scope(world.club):
            assert AuditEntry.objects.filter(action="token_revoked").count() == 1

    def test_of_another_source_is_not_found(self, world: World, admin: Api):
        other = admin.post("sources/", {"name": "Second gate", "kind": "device"}).json()
        old = admin.get(tokens_of(world)).json()["results"][0]

        answer = admin.delete(f"sources/{other['id']}/tokens/{old['id']}/")

        assert answer.status_code == 404


class TestAnOwnToken:
    def test_may_revoke_itself(self, world: World):
        coach = world.as_("coach")
        own = coach.get("tokens/").json()["results"][0]

        assert coach.delete(f"tokens/{own['id']}/").status_code == 204
        assert coach.get("tokens/").status_code == 401
