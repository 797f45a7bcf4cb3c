"""Times in squads and coaches' charges over HTTP: whom a coach sees, and on which days."""

from datetime import date, timedelta
from typing import Any

import pytest

from analytics.models import Alert
from clubs.models import AuditEntry, Membership, Role
from clubs.selectors import today_at
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


@pytest.fixture
def squad(world: World) -> str:
    return str(factories.make_squad(world.club).id)


def day(world: World, offset: int) -> str:
    """Return a day as it is written, counted from today where the club is."""
    return str(today_at(world.club) + timedelta(days=offset))


def coach_id(world: World) -> str:
    with club_scope(world.club):
        return str(Membership.objects.get(role=Role.COACH).id)


def join(admin: Api, squad: str, world: World, **days: Any) -> Any:
    return admin.post(f"squads/{squad}/members/", {"athlete": str(world.athlete.id), **days})


def assign(admin: Api, world: World, **fields: Any) -> Any:
    return admin.post("coach-assignments/", {"coach": coach_id(world), **fields})


class TestATimeInASquad:
    def test_is_added_read_and_ended(self, world: World, admin: Api, squad: str):
        added = join(admin, squad, world, from_date="2026-05-01")
        path = added["Location"].removeprefix(admin.base)

        ended = admin.patch(path, {"until_date": "2026-09-30"}, if_match=added["ETag"])

        assert (added.status_code, added.json()["until_date"]) == (201, None)
        assert admin.get(path).json() == {**added.json(), "until_date": "2026-09-30"}
        assert ended["ETag"] == admin.get(path)["ETag"]

    def test_is_listed_with_those_that_are_over_and_by_day(
        self, world: World, admin: Api, squad: str
    ):
        join(admin, squad, world, from_date="2024-05-01", until_date="2024-09-30")
        join(admin, squad, world, from_date="2025-05-01")
        path = f"squads/{squad}/members/"

        both = admin.get(path).json()["results"]
        on = {
            when: [each["from_date"] for each in admin.get(f"{path}?on={when}").json()["results"]]
            for when in ("2024-04-30", "2024-09-30", "2024-10-01", "2025-05-01")
        }

        assert [each["until_date"] for each in both] == ["2024-09-30", None]
        assert on == {
            "2024-04-30": [],
            "2024-09-30": ["2024-05-01"],
            "2024-10-01": [],
            "2025-05-01": ["2025-05-01"],
        }

    @pytest.mark.parametrize(
        ("from_date", "until_date", "status"),
        [
            ("2026-06-30", None, 409),  # both have their last and first day
            ("2026-01-01", "2026-05-01", 409),
            ("2026-06-01", "2026-06-02", 409),
            ("2026-07-01", None, 201),
            ("2026-01-01", "2026-04-30", 201),
        ],
    )
    def test_never_overlaps_another_one(
        self,
        world: World,
        admin: Api,
        squad: str,
        from_date: str,
        until_date: str | None,
        status: int,
    ):
        join(admin, squad, world, from_date="2026-05-01", until_date="2026-06-30")

        answer = join(admin, squad, world, from_date=from_date, until_date=until_date)

        assert answer.status_code == status
        if status == 409:
            assert [(each["pointer"], each["code"]) for each in answer.json()["errors"]] == [
                ("/athlete", "already_exists")
            ]

    def test_is_not_moved_into_another_one_nor_to_an_end_before_its_start(
        self, world: World, admin: Api, squad: str
    ):
        join(admin, squad, world, from_date="2026-05-01", until_date="2026-06-30")
        later = join(admin, squad, world, from_date="2026-07-01")
        path = later["Location"].removeprefix(admin.base)

        into = admin.patch(path, {"from_date": "2026-06-30"})
        back = admin.patch(path, {"until_date": "2026-06-30"})

        assert (into.status_code, into.json()["errors"][0]["pointer"]) == (409, "/from_date")
        assert [(each["pointer"], each["code"]) for each in back.json()["errors"]] == [
            ("/until_date", "ends_before_start")
        ]
        assert admin.get(path)["ETag"] == later["ETag"]

    def test_is_another_squads_business_alone(self, world: World, admin: Api, squad: str):
        added = join(admin, squad, world).json()
        other = factories.make_squad(world.club).id

        read = admin.get(f"squads/{other}/members/{added['id']}/")
        changed = admin.patch(f"squads/{other}/members/{added['id']}/", {"until_date": None})

        assert (read.status_code, changed.status_code) == (404, 404)


class TestACharge:
    def test_opens_a_squad_from_the_next_request_on_for_its_days(
        self, world: World, admin: Api, squad: str
    ):
        join(admin, squad, world, from_date=day(world, -30))
        coach, path = world.as_("coach"), f"athletes/{world.athlete.id}/"
        before = coach.get(path).status_code

        charge = assign(admin, world, squad=squad, from_date=day(world, 0))
        during = coach.get(path).status_code
        at = charge["Location"].removeprefix(admin.base)
        last_day = admin.patch(at, {"until_date": day(world, 0)}, if_match=charge["ETag"])
        on_last_day = coach.get(path).status_code
        admin.patch(
            at,
            {"from_date": day(world, -9), "until_date": day(world, -1)},
            if_match=last_day["ETag"],
        )

        assert (before, during, on_last_day) == (404, 200, 200)
        assert coach.get(path).status_code == 404

    def test_of_a_squad_ends_for_an_athlete_who_leaves_it(
        self, world: World, admin: Api, squad: str
    ):
        added = join(admin, squad, world, from_date=day(world, -30))
        assign(admin, world, squad=squad, from_date=day(world, -30))
        coach, path = world.as_("coach"), f"approaches/{world.approach.id}/"
        before = coach.get(path).status_code

        admin.patch(added["Location"].removeprefix(admin.base), {"until_date": day(world, -1)})

        assert (before, coach.get(path).status_code) == (200, 404)

    def test_of_one_athlete_is_seen_by_its_coach_and_removed(self, world: World, admin: Api):
        charge = assign(admin, world, athlete=str(world.athlete.id)).json()
        coach = world.as_("coach")
        assign_other = {
            "coach": str(factories.make_member(world.club).id),
            "athlete": str(world.athlete.id),
        }
        others = admin.post("coach-assignments/", assign_other).json()

        seen = coach.get("coach-assignments/").json()["results"]
        removed = admin.delete(f"coach-assignments/{charge['id']}/")

        assert seen == [charge]
        assert coach.get(f"coach-assignments/{others['id']}/").status_code == 404
        assert removed.status_code == 204
        assert coach.get(f"athletes/{world.athlete.id}/").status_code == 404
        assert admin.delete(f"coach-assignments/{charge['id']}/").status_code == 404
        with club_scope(world.club):
            entries = AuditEntry.objects.filter(action="coach_assignment_removed")
            assert {each.subject_kind for each in entries} == {
                "coach_assignment",
                "membership",
                "athlete",
            }

    def test_is_not_given_twice_for_the_same_day(self, world: World, admin: Api, squad: str):
        """Who ends the one that they see would leave another one in force."""
        first = assign(admin, world, squad=squad, from_date="2026-05-01")

        again = assign(admin, world, squad=squad, from_date="2026-06-01")
        of_athlete = assign(admin, world, athlete=str(world.athlete.id), from_date="2026-06-01")

        assert (first.status_code, of_athlete.status_code) == (201, 201)
        assert (again.status_code, again.json()["code"]) == (409, "already_exists")

    def test_is_about_one_squad_or_one_athlete_and_a_coach(
        self, world: World, admin: Api, squad: str
    ):
        of_both = {"squad": squad, "athlete": str(world.athlete.id)}
        member = factories.make_member(world.club, Role.ATHLETE)

        codes = [
            [(each["pointer"], each["code"]) for each in answer.json()["errors"]]
            for answer in (
                assign(admin, world),
                assign(admin, world, **of_both),
                assign(admin, world, squad=squad, coach=str(member.id)),
                assign(admin, world, squad=squad, from_date="2026-05-02", until_date="2026-05-01"),
            )
        ]

        assert codes == [
            [("", "squad_or_athlete")],
            [("", "squad_or_athlete")],
            [("/coach", "not_a_coach")],
            [("/until_date", "ends_before_start")],
        ]


class TestTheSquadFilter:
    @pytest.mark.parametrize("days", [(-9, -1), (1, 9), (-9, 0), (0, 0), (-9, None)])
    def test_finds_who_is_a_member_today(
        self, world: World, admin: Api, squad: str, days: tuple[int, int | None]
    ):
        first, last = days
        join(
            admin,
            squad,
            world,
            from_date=day(world, first),
            until_date=None if last is None else day(world, last),
        )
        attempt = factories.make_attempt(world.source, world.athlete, world.session)
        alert: Alert = factories.make_alert(attempt)
        member = first <= 0 and (last is None or last >= 0)

        found = {
            path: [each["id"] for each in admin.get(f"{path}?squad={squad}").json()["results"]]
            for path in ("athletes/", "approaches/", "attempts/", "alerts/")
        }

        assert found == {
            "athletes/": [str(world.athlete.id)] if member else [],
            "approaches/": [str(world.approach.id)] if member else [],
            "attempts/": [str(attempt.id)] if member else [],
            "alerts/": [str(alert.id)] if member else [],
        }


def test_days_are_written_as_days(world: World, admin: Api, squad: str):
    refused = join(admin, squad, world, from_date=date(2026, 5, 1).strftime("%d.%m.%Y"))

    assert [each["code"] for each in refused.json()["errors"]] == ["not_a_day"]
