"""Sessions over HTTP: put right, found by what is known of them."""

from datetime import date
from typing import Any

import pytest

from approaches.models import PendingRefresh
from clubs.models import AuditEntry, Membership, Role
from clubs.services import places
from common.club_scope import club_scope
from tests import factories
from tests.analytics.conftest import Season, draw
from tests.api.conftest import Api, World

AN_ID = "0199F6A2-5a40-7c1e-8d52-3d1f8a4b6c7e"


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


@pytest.fixture
def path(world: World) -> str:
    return f"sessions/{world.session.id}/"


def ids(answer: Any) -> list[str]:
    return [each["id"] for each in answer.json()["results"]]


class TestChange:
    def test_puts_right_what_is_known(self, world: World, admin: Api, path: str):
        runway = places.add_runway(club=world.club, name="Hall", surface="synthetic")
        changes = {
            "code": "2026-05-03-am",
            "held_date": "2026-05-03",
            "kind": "competition",
            "runway": str(runway.id),
            "weather": "Rain from noon on.",
            "field_size": 11,
        }

        changed = admin.patch(path, changes, if_match=admin.get(path)["ETag"])

        assert changed.status_code == 200
        assert changes.items() <= changed.json().items()
        with club_scope(world.club):
            entry = AuditEntry.objects.get(action="session_changed")
        assert entry.field_names == sorted(changes)

    def test_takes_a_runway_away(self, world: World, admin: Api, path: str):
        runway = places.add_runway(club=world.club, name="Hall", surface="synthetic")
        admin.patch(path, {"runway": str(runway.id)})

        assert admin.patch(path, {"runway": None}).json()["runway"] is None

    def test_names_a_runway_of_the_club(self, second_world: World, admin: Api, path: str):
        theirs = places.add_runway(club=second_world.club, name="Hall", surface="synthetic")

        refused = admin.patch(path, {"runway": str(theirs.id)})

        assert (refused.status_code, refused.json()["code"]) == (404, "not_found")

    def test_is_refused_when_somebody_else_was_faster(self, admin: Api, path: str):
        read = admin.get(path)
        admin.patch(path, {"weather": "Sun."})

        refused = admin.patch(path, {"weather": "Wind."}, if_match=read["ETag"])

        assert (refused.status_code, refused.json()["code"]) == (412, "stale_version")

    def test_keeps_codes_apart(self, world: World, admin: Api, path: str):
        other = factories.make_session(world.club)

        refused = admin.patch(path, {"code": other.code})

        assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (409, "/code")

    def test_takes_no_code_that_is_an_id(self, admin: Api, path: str):
        new = {"code": AN_ID, "held_date": "2026-05-02", "kind": "training"}

        for refused in (admin.post("sessions/", new), admin.patch(path, {"code": AN_ID})):
            assert refused.status_code == 400
            assert [fault["code"] for fault in refused.json()["errors"]] == ["looks_like_an_id"]

    def test_of_the_day_leaves_figures_those_of_a_rebuild(self, world: World):
        season = Season(world)
        for toes in [*draw(5, 5, mean=0.06, sd=0.05), *draw(6, 6, mean=0.30, sd=0.05)]:
            season.add_session(toes)
        season.push()
        season.refresh()
        before = season.stored()

        moved = world.as_("admin").patch(
            f"sessions/{season.sessions[8].id}/", {"held_date": "2026-01-01", "kind": "testing"}
        )

        assert moved.status_code == 200
        with club_scope(world.club):
            assert not PendingRefresh.objects.exists()
        season.refresh(whole=True)
        assert season.stored() == before
        assert before["alerts"]


class TestFilters:
    def test_find_by_day_kind_and_runway(self, world: World, admin: Api):
        runway = places.add_runway(club=world.club, name="Hall", surface="synthetic")
        wanted = factories.make_session(
            world.club, held_date=date(2026, 6, 1), kind="testing", runway=runway
        )
        factories.make_session(world.club, held_date=date(2026, 6, 2))

        for query in (
            "held_from=2026-06-01&held_until=2026-06-01",
            "kind=testing",
            f"runway={runway.id}",
        ):
            assert ids(admin.get(f"sessions/?{query}")) == [str(wanted.id)], query

    def test_find_where_an_athlete_was(self, world: World, admin: Api):
        factories.make_session(world.club)
        factories.make_attempt(world.source, world.athlete, world.session)

        assert ids(admin.get(f"sessions/?athlete={world.athlete.id}")) == [str(world.session.id)]

    def test_do_not_tell_a_coach_where_a_stranger_was(self, world: World):
        factories.make_attempt(world.source, world.athlete, world.session)

        assert ids(world.as_("coach").get(f"sessions/?athlete={world.athlete.id}")) == []

    def test_tell_athletes_where_they_were(self, world: World):
        with club_scope(world.club):
            user = Membership.objects.get(role=Role.ATHLETE).user
            world.athlete.user = user
            world.athlete.save(update_fields=["user"])
        factories.make_attempt(world.source, world.athlete, world.session)

        seen = world.as_("athlete").get(f"sessions/?athlete={world.athlete.id}")

        assert ids(seen) == [str(world.session.id)]

    def test_refuse_what_they_cannot_read(self, admin: Api):
        answer = admin.get("sessions/?held_from=yesterday")

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")
