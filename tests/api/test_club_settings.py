"""The club itself, and its audit, over HTTP."""

from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from clubs.models import AccessToken
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


class TestTheClub:
    def test_is_changed_from_the_version_that_was_read(self, admin: Api):
        read = admin.get("")

        changed = admin.patch("", {"name": "Jumpers"}, if_match=read["ETag"])
        stale = admin.patch("", {"name": "Leapers"}, if_match=read["ETag"])

        assert changed.json() == {**read.json(), "name": "Jumpers"}
        assert admin.get("")["ETag"] == changed["ETag"] != read["ETag"]
        assert stale.status_code == 412

    def test_has_another_day_in_another_time_zone(
        self, world: World, admin: Api, monkeypatch: pytest.MonkeyPatch
    ):
        # At noon UTC the next day has come in Auckland, 12 to 13 hours ahead.
        noon = datetime(2026, 5, 2, 12, 30, tzinfo=UTC)
        monkeypatch.setattr(timezone, "now", lambda: noon)
        body = {"athlete": str(world.athlete.id)}
        squads = [factories.make_squad(world.club).id for _ in range(2)]

        before = admin.post(f"squads/{squads[0]}/members/", body).json()
        admin.patch("", {"time_zone": "Pacific/Auckland", "country": "NZ"})
        after = admin.post(f"squads/{squads[1]}/members/", body).json()

        assert (before["from_date"], after["from_date"]) == ("2026-05-02", "2026-05-03")

    @pytest.mark.parametrize(
        ("field", "value", "code"),
        [
            ("time_zone", "Europe/Atlantis", "unknown_time_zone"),
            ("country", "at", "not_a_country"),
            ("country", "AUT", "not_a_country"),
            ("slug", "other", "unknown_field"),
        ],
    )
    def test_refuses_what_cannot_be(self, admin: Api, field: str, value: str, code: str):
        before = admin.get("")["ETag"]

        refused = admin.patch("", {field: value})

        assert refused.status_code == 400
        assert [(each["pointer"], each["code"]) for each in refused.json()["errors"]] == [
            (f"/{field}", code)
        ]
        assert admin.get("")["ETag"] == before


class TestTheAudit:
    def test_says_who_did_what_the_latest_first_without_a_value(self, world: World, admin: Api):
        squad = admin.post("squads/", {"name": "Youth of spring"}).json()
        changed = admin.patch(f"squads/{squad['id']}/", {"name": "Youth of summer"})

        answer = admin.get(f"audit/?subject={squad['id']}")

        latest, first = answer.json()["results"]
        assert [first["action"], latest["action"]] == ["squad_added", "squad_changed"]
        assert latest["field_names"] == ["name"]
        assert latest["subjects"] == [squad["id"]]
        assert latest["request_id"] == changed["X-Request-ID"]
        assert "Youth" not in answer.content.decode()
        with club_scope(world.club):
            token = AccessToken.objects.get(public_id=world.tokens["admin"].split("_")[2])
        assert (latest["actor_kind"], latest["actor"]) == ("token", str(token.id))
        assert (latest["member"], latest["source"]) == (str(token.membership_id), None)

    def test_is_found_by_whose_token_it_was(self, world: World, admin: Api):
        admin.post("squads/", {"name": "Youth"})
        coach = world.as_("coach")
        coach.post("sessions/", {"code": "a", "held_date": "2026-05-02", "kind": "training"})
        with club_scope(world.club):
            held = AccessToken.objects.get(public_id=world.tokens["coach"].split("_")[2])

        by_person = admin.get(f"audit/?actor={held.membership_id}").json()["results"]
        by_token = admin.get(f"audit/?actor={held.id}").json()["results"]

        assert [each["action"] for each in by_person] == ["session_added"]
        assert by_token == by_person

    def test_is_found_by_what_and_when(self, admin: Api):
        admin.post("squads/", {"name": "Youth"})
        now = timezone.now()
        later = (now + timedelta(minutes=1)).isoformat().replace("+", "%2B")
        earlier = (now - timedelta(minutes=1)).isoformat().replace("+", "%2B")

        def found(query: str) -> list[str]:
            results = admin.get(f"audit/?{query}").json()["results"]
            return [each["action"] for each in results]

        assert found("action=squad_added&subject_kind=squad") == ["squad_added"]
        assert found(f"action=squad_added&at_from={earlier}&at_before={later}") == ["squad_added"]
        assert found(f"action=squad_added&at_before={earlier}") == []
        assert found(f"at_from={later}") == []

    def test_is_read_in_pages_without_a_gap(self, admin: Api):
        for number in range(5):
            admin.post("squads/", {"name": f"Squad {number}"})
        path, read = "audit/?action=squad_added&page_size=2", []
        while path:
            page = admin.get(path).json()
            read += [each["id"] for each in page["results"]]
            path = (page["next"] or "").partition(admin.base)[2]

        assert len(read) == len(set(read)) == 5
        assert read == sorted(read, reverse=True)  # ids grow with time
