"""Records over HTTP: made, listed, found."""

from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from athletes.services import coaching, joining
from clubs import selectors as club_selectors
from clubs.models import Membership, Role
from clubs.services import people
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World


class TestAthletes:
    def test_an_admin_enters_an_athlete_once(self, world: World):
        admin = world.as_("admin")
        body = {
            "code": "A-90",
            "given_name": "Mira",
            "family_name": "Feld",
            "birth_date": "2010-04-09",
        }

        made = admin.post("athletes/", body)
        twice = admin.post("athletes/", body)

        assert made.status_code == 201
        assert admin.get(f"athletes/{made.json()['id']}/").json() == made.json()
        assert (twice.status_code, twice.json()["errors"][0]["pointer"]) == (409, "/code")
        assert [each["code"] for each in admin.get("athletes/?code=A-90").json()["results"]] == [
            "A-90"
        ]

    @pytest.mark.parametrize(
        ("body", "pointer", "code"),
        [
            (b"", "/code", "required"),
            (b"[]", "", "invalid"),
            (b"{}", "/code", "required"),
            (b'{"code": NaN}', "", "invalid_json"),
            (b'{"shoe_length_m": 1e999}', "", "invalid_json"),
            (b'{"code": "a", "code": "b"}', "", "invalid_json"),
            (b"[" * 100_000, "", "invalid_json"),
            (b'\xef\xbb\xbf{"code": "a"}', "", "invalid_json"),
            (b'{"surprise": 1}', "/surprise", "unknown_field"),
        ],
    )
    def test_refuses_a_bad_body(self, world: World, body: bytes, pointer: str, code: str):
        answer = world.as_("admin").post("athletes/", body)

        assert answer.status_code == 400
        assert answer["Content-Type"] == "application/problem+json"
        problem = answer.json()
        if problem["errors"]:
            assert (problem["errors"][0]["pointer"], problem["errors"][0]["code"]) == (
                pointer,
                code,
            )
        else:
            assert problem["code"] == code

    def test_a_coach_sees_own_squads_and_assigned_athletes(self, world: World):
        club = world.club
        squad = people.add_squad(club=club, name="Youth")
        member, assigned, _stranger = (factories.make_athlete(club) for _ in range(3))
        with club_scope(club):
            coach = Membership.objects.get(role=Role.COACH)
        since = date(2026, 1, 1)
        joining.add_squad_member(club=club, squad=squad, athlete=member, from_date=since)
        coaching.assign_coach(club=club, coach=coach, squad=squad, from_date=since)
        coaching.assign_coach(club=club, coach=coach, athlete=assigned, from_date=since)

        seen = world.as_("coach").get("athletes/").json()["results"]

        assert {each["id"] for each in seen} == {str(member.id), str(assigned.id)}

    def test_an_assignment_begins_with_the_day_of_the_club(
        self, world: World, monkeypatch: pytest.MonkeyPatch
    ):
        # Auckland is 12 to 13 hours ahead of UTC: at noon its next day has come.
        club = factories.make_club(time_zone="Pacific/Auckland")
        coach = factories.make_member(club, Role.COACH)
        athlete = factories.make_athlete(club)
        coaching.assign_coach(club=club, coach=coach, athlete=athlete, from_date=date(2026, 5, 3))
        api = Api(club.slug, factories.make_person_token(coach))

        def seen_at(hour: int) -> int:
            moment = datetime(2026, 5, 2, hour, 30, tzinfo=UTC)
            monkeypatch.setattr(timezone, "now", lambda: moment)
            return len(api.get("athletes/").json()["results"])

        assert (seen_at(11), seen_at(12)) == (0, 1)

    def test_an_athlete_sees_self(self, world: World):
        with club_scope(world.club):
            user = Membership.objects.get(role=Role.ATHLETE).user
        own = factories.make_athlete(world.club, user=user)

        seen = world.as_("athlete").get("athletes/").json()["results"]

        assert [each["id"] for each in seen] == [str(own.id)]


class TestTokens:
    def test_a_secret_is_shown_once_and_works(self, world: World):
        admin = world.as_("admin")
        source = admin.post("sources/", {"name": "Gates", "kind": "device"}).json()
        path = f"sources/{source['id']}/tokens/"

        made = admin.post(path, {"name": "Gate", "scopes": ["attempts:write"]})

        assert made.status_code == 201
        secret = made.json()["secret"]
        assert secret.startswith("pnl_device_")
        (listed,) = admin.get(path).json()["results"]
        assert "secret" not in listed
        assert club_selectors.find_caller(secret).club == world.club
        answer = Api(world.club.slug, secret).post("attempts/batch/", [])
        assert answer.json()["received"] == 0

    def test_the_day_of_its_last_use_is_noted_with_one_write(self, world: World):
        admin = world.as_("admin")
        assert admin.get("").status_code == 200

        (token,) = admin.get("tokens/").json()["results"]

        assert token["last_used_date"] == club_selectors.today_at(world.club).isoformat()
        with CaptureQueriesContext(connection) as queries:
            admin.get("")
        assert [each["sql"] for each in queries if "UPDATE" in each["sql"]] == []

    @pytest.mark.parametrize("change", ["", "x", "secret"])
    def test_a_wrong_token_is_401(self, world: World, change: str):
        token = world.tokens["admin"]
        wrong = {"": "", "x": token[:-1] + "x", "secret": token.replace("_", "-")}[change]

        answer = Api(world.club.slug, wrong).get("")

        assert (answer.status_code, answer.json()["code"]) == (401, "not_authenticated")

    def test_a_person_gives_away_no_more_than_they_hold(self, world: World):
        with club_scope(world.club):
            coach = Membership.objects.get(role=Role.COACH)
        narrow = factories.make_person_token(coach, scopes={"club:read", "plans:read"})
        api = Api(world.club.slug, narrow)

        fine = api.post("tokens/", {"name": "Notebook", "scopes": ["plans:read"]})
        more = api.post("tokens/", {"name": "Notebook", "scopes": ["athletes:read"]})

        assert fine.status_code == 201
        assert more.json()["errors"][0]["code"] == "scope_not_held"


class TestLists:
    def test_pages_by_a_cursor_that_is_bound_to_its_filters(self, world: World):
        admin = world.as_("admin")
        for _ in range(4):
            factories.make_athlete(world.club)

        first = admin.get("athletes/?page_size=2")
        cursor = first.json()["next"].partition("cursor=")[2].partition("&")[0]
        rest = admin.get(f"athletes/?page_size=3&cursor={cursor}")

        ids = [each["id"] for each in first.json()["results"] + rest.json()["results"]]
        assert len(set(ids)) == 5
        assert first["Link"].endswith('rel="next"')
        for path in (
            f"athletes/?cursor={cursor}&code=A-1",
            "athletes/?cursor=nonsense",
            f"sessions/?cursor={cursor}",
        ):
            answer = admin.get(path)
            assert (answer.status_code, answer.json()["code"]) == (400, "invalid_cursor")

    @pytest.mark.parametrize("query", ["page_size=0", "page_size=501", "squad=x", "archived=maybe"])
    def test_refuses_values_that_it_cannot_read(self, world: World, query: str):
        answer = world.as_("admin").get(f"athletes/?{query}")

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")
