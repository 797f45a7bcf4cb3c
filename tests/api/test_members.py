"""The people of a club over HTTP: roles, endings, and the tokens that follow them."""

from typing import Any

import pytest

from athletes.models import Athlete
from clubs.models import AuditEntry, Membership, Role, Source, User
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


def add(admin: Api, **fields: Any) -> Any:
    return admin.post("members/", {"email": "ida.lund@example.org", "role": "coach", **fields})


def member_of(world: World, role: Role) -> Membership:
    with club_scope(world.club):
        return Membership.objects.filter(role=role).earliest("id")


class TestANewMember:
    def test_is_added_and_found(self, admin: Api):
        answer = add(admin, email="Ida.Lund@Example.org")

        assert answer.status_code == 201
        path = answer["Location"].removeprefix(admin.base)
        assert admin.get(path).json() == answer.json()
        assert answer.json() == {
            "id": answer.json()["id"],
            "email": "ida.lund@example.org",
            "role": "coach",
            "athlete": None,
            "ended_at": None,
        }
        found = admin.get("members/?email=IDA.lund@example.org&role=coach&ended=false").json()
        assert found["results"] == [answer.json()]

    def test_is_answered_the_same_whether_the_address_has_a_log_in_or_not(
        self, admin: Api, second_world: World
    ):
        factories.make_member(second_world.club, email="known@example.org")

        known, unknown = (add(admin, email=f"{name}@example.org") for name in ("known", "unknown"))

        assert known.status_code == unknown.status_code == 201
        assert known.json().keys() == unknown.json().keys()
        assert User.objects.filter(email="known@example.org").count() == 1

    def test_is_not_added_twice(self, admin: Api):
        add(admin)

        again = add(admin, email="IDA.LUND@example.org", role="admin")

        assert (again.status_code, again.json()["code"]) == (409, "already_exists")
        assert [each["pointer"] for each in again.json()["errors"]] == ["/email"]

    @pytest.mark.parametrize(
        ("fields", "pointer", "code"),
        [
            ({"email": "nobody"}, "/email", "invalid"),
            ({"role": "owner"}, "/role", "unknown_value"),
            ({"password": "x"}, "/password", "unknown_field"),
        ],
    )
    def test_is_refused_with_a_field_that_cannot_be(
        self, admin: Api, fields: dict[str, Any], pointer: str, code: str
    ):
        refused = add(admin, **fields)

        assert refused.status_code == 400
        assert [(each["pointer"], each["code"]) for each in refused.json()["errors"]] == [
            (pointer, code)
        ]

    def test_gets_in_with_a_token_that_an_admin_hands_over(self, world: World, admin: Api):
        member = add(admin).json()
        wanted = {"name": "To begin with", "scopes": ["club:read", "athletes:read"]}

        made = admin.post(f"members/{member['id']}/tokens/", wanted)

        assert (made.status_code, made["Cache-Control"]) == (201, "no-store")
        own = Api(world.club.slug, made.json()["secret"])
        assert own.get("athletes/").json()["results"] == []  # a coach without a charge
        assert own.get("members/").status_code == 403
        (listed,) = own.get("tokens/").json()["results"]
        assert listed["id"] == made.json()["id"]
        admin.delete(f"members/{member['id']}/tokens/{listed['id']}/")
        assert own.get("tokens/").status_code == 401

    def test_is_handed_no_scope_that_the_admins_own_token_lacks(self, world: World, admin: Api):
        member = add(admin).json()
        scopes = {"club:write"}
        narrow = Api(
            world.club.slug,
            factories.make_person_token(member_of(world, Role.ADMIN), scopes=scopes),
        )

        refused = narrow.post(
            f"members/{member['id']}/tokens/", {"name": "x", "scopes": ["plans:write"]}
        )

        assert [each["code"] for each in refused.json()["errors"]] == ["scope_not_held"]


class TestAnAthleteAmongMembers:
    def test_sees_the_athlete_that_they_are_from_the_next_request_on(
        self, world: World, admin: Api
    ):
        jumper = member_of(world, Role.ATHLETE)
        path = f"members/{jumper.id}/"
        own = world.as_("athlete")
        before = own.get(f"athletes/{world.athlete.id}/").status_code

        linked = admin.patch(path, {"athlete": str(world.athlete.id)}, if_match='"1"')
        during = own.get(f"athletes/{world.athlete.id}/").status_code
        parted = admin.patch(path, {"athlete": None}, if_match=linked["ETag"])
        after = own.get(f"athletes/{world.athlete.id}/").status_code

        assert linked.json()["athlete"] == str(world.athlete.id)
        assert parted["ETag"] == admin.get(path)["ETag"] != linked["ETag"] != '"1"'
        assert (before, during, after) == (404, 200, 404)

    def test_is_said_when_added(self, world: World, admin: Api):
        answer = add(admin, role="athlete", athlete=str(world.athlete.id))

        assert (answer.status_code, answer.json()["athlete"]) == (201, str(world.athlete.id))
        found = admin.get(f"members/?athlete={world.athlete.id}").json()["results"]
        assert [each["id"] for each in found] == [answer.json()["id"]]

    def test_is_one_athlete_and_nobody_elses(self, world: World, admin: Api):
        add(admin, role="athlete", athlete=str(world.athlete.id))

        taken = add(admin, email="b@example.org", role="athlete", athlete=str(world.athlete.id))
        no_jumper = add(admin, email="c@example.org", role="coach", athlete=str(world.athlete.id))

        assert (taken.status_code, taken.json()["code"]) == (409, "already_exists")
        assert [each["code"] for each in no_jumper.json()["errors"]] == ["not_an_athlete"]
        assert admin.get("members/?email=b@example.org").json()["results"] == []

    def test_counts_as_a_version_whoever_says_it(self, world: World, admin: Api):
        jumper = member_of(world, Role.ATHLETE)
        read = admin.get(f"members/{jumper.id}/")

        with club_scope(world.club):
            Athlete.objects.filter(id=world.athlete.id).update(user=jumper.user)
        stale = admin.patch(f"members/{jumper.id}/", {"athlete": None}, if_match=read["ETag"])

        assert (stale.status_code, stale.json()["code"]) == (412, "stale_version")
        assert admin.get(f"members/{jumper.id}/").json()["athlete"] == str(world.athlete.id)


class TestAnEndedMembership:
    def test_stops_its_tokens_from_the_next_request_on_until_it_is_taken_up_again(
        self, world: World, admin: Api
    ):
        coach = world.as_("coach")
        path = f"members/{member_of(world, Role.COACH).id}/"
        before = coach.get("").status_code

        ended = admin.patch(path, {"ended": True}, if_match='"1"')
        during = coach.get("").status_code
        again = admin.patch(path, {"ended": True}, if_match=ended["ETag"])
        taken_up = admin.patch(path, {"ended": False}, if_match=again["ETag"])

        assert (before, during, coach.get("").status_code) == (200, 401, 200)
        assert again.json() == ended.json()  # the moment stays
        assert (again["ETag"], taken_up.json()["ended_at"]) == (ended["ETag"], None)

    def test_closes_the_persons_own_source_and_gives_out_nothing(self, world: World, admin: Api):
        coach = member_of(world, Role.COACH)
        admin.patch(f"members/{coach.id}/", {"ended": True})

        refused = admin.post(f"members/{coach.id}/tokens/", {"name": "x", "scopes": ["plans:read"]})

        assert (refused.status_code, refused.json()["code"]) == (409, "membership_ended")
        with club_scope(world.club):
            assert Source.objects.get(membership=coach).closed_at is not None

    def test_leaves_no_way_in_through_the_persons_own_source(self, world: World, admin: Api):
        with club_scope(world.club):
            source = Source.objects.get(membership=member_of(world, Role.COACH))

        refused = admin.post(
            f"sources/{source.id}/tokens/", {"name": "x", "scopes": ["plans:read"]}
        )

        assert [each["code"] for each in refused.json()["errors"]] == ["not_allowed_here"]

    def test_is_in_the_audit_by_field_names(self, world: World, admin: Api):
        coach = member_of(world, Role.COACH)

        admin.patch(f"members/{coach.id}/", {"ended": True})

        with club_scope(world.club):
            entry = AuditEntry.objects.get(action="membership_changed")
        assert (entry.subject_ids, entry.field_names) == ([coach.id], ["ended_at"])


class TestARole:
    def test_holds_from_the_next_request_on(self, world: World, admin: Api):
        coach = world.as_("coach")
        before = coach.get("members/").status_code

        admin.patch(f"members/{member_of(world, Role.COACH).id}/", {"role": "admin"})

        assert (before, coach.get("members/").status_code) == (403, 200)


class TestTheLastAdmin:
    @pytest.mark.parametrize("change", [{"ended": True}, {"role": "coach"}])
    def test_stays(self, world: World, admin: Api, change: dict[str, Any]):
        path = f"members/{member_of(world, Role.ADMIN).id}/"

        refused = admin.patch(path, change)

        assert (refused.status_code, refused.json()["code"]) == (409, "last_admin")
        assert admin.get(path).json()["role"] == "admin"

    def test_may_go_once_there_is_another(self, world: World, admin: Api):
        add(admin, role="admin")

        gone = admin.patch(f"members/{member_of(world, Role.ADMIN).id}/", {"ended": True})

        assert gone.status_code == 200
        assert admin.get("members/").status_code == 401
