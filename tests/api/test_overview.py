"""The overview over HTTP: from what is stored, of those whom the caller may see."""

from datetime import date, datetime, timedelta
from typing import Any

import jsonschema  # type: ignore[import-untyped]  # no stubs among the pins
import pytest
from django.utils import timezone

from analytics.models import SeriesState
from analytics.services import refreshing
from analytics.services.method import METHOD
from approaches.models import Attempt
from athletes.services import coaching, joining
from clubs.models import Role, Squad
from clubs.selectors import today_at
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World
from tests.api.jumpers import SHORT, Jumper
from tests.contract.openapi import find_operation, read_schema

# So that what was jumped lately is over by now.
DAYS_AGO = timedelta(days=3)


@pytest.fixture
def today(world: World) -> date:
    return today_at(world.club)


def read(api: Api, query: str = "") -> dict[str, Any]:
    answer = api.get(f"overview{query}")
    assert answer.status_code == 200, answer.content
    body: dict[str, Any] = answer.json()
    return body


def row_of(world: World, **headers: str) -> dict[str, Any]:
    answer = world.as_("admin").get("overview", **headers).json()
    (row,) = [each for each in answer["results"] if each["athlete"] == str(world.athlete.id)]
    return dict(row)


def codes_of(world: World) -> list[str]:
    return [each["code"] for each in row_of(world)["reasons"]]


def refresh(world: World, *, now: datetime | None = None) -> None:
    assert refreshing.refresh_series(
        club_id=world.club.id,
        approach_id=world.approach.id,
        finish_class="jump",
        now=now or timezone.now() + timedelta(days=1),
    )


@pytest.fixture
def calm(world: World, today: date) -> World:
    """Return a world whose athlete needs nobody."""
    factories.make_consent(world.athlete)
    factories.make_measurement(world.athlete, measured_date=today - timedelta(days=10))
    return world


@pytest.fixture
def short(calm: World) -> Jumper:
    """Return a jumper who landed short three days ago, with the figures made."""
    jumper = Jumper(calm)
    jumper.jump(SHORT, begin=timezone.now() - DAYS_AGO)
    refresh(calm)
    return jumper


class TestOverview:
    def test_is_what_the_schema_says(self, short: Jumper):
        described = find_operation("GET", "overview")
        assert described is not None
        schema = described.described["responses"]["200"]["content"]["application/json"]["schema"]

        jsonschema.validate(read(short.admin), {**read_schema(), **schema})

    def test_says_that_nobody_is_needed(self, calm: World, today: date):
        answer = read(calm.as_("admin"))

        assert answer["text"] == "Nobody needs you today."
        assert (answer["n"], answer["n_today"], answer["n_soon"]) == (1, 0, 0)
        assert (answer["today"], answer["stale"], answer["method"]) == (
            today.isoformat(),
            False,
            METHOD,
        )
        assert answer["results"][0]["reasons"] == []

    def test_is_the_same_until_something_changes(self, calm: World):
        admin = calm.as_("admin")
        first = admin.get("overview")
        same = admin.get("overview", **{"If-None-Match": first["ETag"]})
        factories.make_athlete(calm.club)
        changed = admin.get("overview", **{"If-None-Match": first["ETag"]})

        assert (same.status_code, changed.status_code) == (304, 200)
        assert {"Accept-Language", "Authorization"} <= set(first["Vary"].split(", "))

    def test_leaves_out_who_is_archived(self, calm: World):
        with club_scope(calm.club):
            calm.athlete.archived_at = timezone.now()
            calm.athlete.save()

        assert read(calm.as_("admin"))["results"] == []


class TestMark:
    def test_that_is_to_be_moved_is_said_as_mark_advice_says_it(self, short: Jumper):
        (reason,) = row_of(short.world)["reasons"]

        advised = short.read()["advice"]
        assert reason["code"] == "mark_move"
        assert reason["numbers"]["move_m"] == pytest.approx(advised["move_m"])
        assert reason["numbers"]["start_mark_m"] == advised["start_mark_m"]
        assert reason["approach"] == str(short.world.approach.id)

    def test_is_written_for_the_reader(self, short: Jumper):
        assert "34." in row_of(short.world)["text"]
        assert "34," in row_of(short.world, Accept_Language="de")["text"]

    def test_is_done_with_once_a_coach_decided(self, short: Jumper):
        assert short.decide().status_code == 201

        assert codes_of(short.world) == []

    def test_is_done_with_once_the_plan_is_another(self, short: Jumper):
        factories.make_plan(
            short.world.approach,
            revision=2,
            start_mark_m=34.08,
            valid_from=timezone.now() - timedelta(days=1),
        )

        assert codes_of(short.world) == []

    def test_is_not_judged_while_the_session_goes_on(self, calm: World):
        jumper = Jumper(calm)
        jumper.jump(SHORT, begin=timezone.now() - timedelta(minutes=60))

        refresh(calm, now=timezone.now())

        assert codes_of(calm) == []
        assert row_of(calm)["n"] == 10

    def test_stays_as_it_was_while_the_next_session_goes_on(self, short: Jumper):
        before = row_of(short.world)["reasons"]
        short.jump([-0.10] * 4, begin=timezone.now() - timedelta(minutes=30))
        refresh(short.world, now=timezone.now())

        assert row_of(short.world)["reasons"] == before

        refresh(short.world)
        assert row_of(short.world)["reasons"] != before

    def test_of_figures_that_were_made_anew_is_the_same(self, short: Jumper):
        before = row_of(short.world)["reasons"]
        with club_scope(short.world.club):
            SeriesState.objects.update(figures={}, method=METHOD - 1)
        assert codes_of(short.world) == []
        assert row_of(short.world)["stale"]

        refresh(short.world)

        assert row_of(short.world)["reasons"] == before


class TestLoad:
    def test_counts_no_jumps_and_leaves_out_baulks_and_what_was_voided(self, calm: World):
        session = factories.make_session(calm.club, held_date=today_at(calm.club))
        for number in range(10):
            factories.make_attempt(
                calm.source,
                calm.athlete,
                session,
                started_at=(timezone.now() - timedelta(minutes=5 * number)).isoformat(),
                finish="pop_up" if number == 0 else "jump",
                outcome=["valid", "baulk", "no_jump"][min(number, 2)],
                official_m=None,
                gates=None,
            )
        assert codes_of(calm) == []  # eight no jumps

        factories.make_attempt(
            calm.source,
            calm.athlete,
            session,
            started_at=timezone.now().isoformat(),
            official_m=None,
            outcome="not_judged",
            gates=None,
        )
        (reason,) = row_of(calm)["reasons"]
        assert (reason["code"], reason["numbers"]["session_jumps"]) == ("load", 9)

        with club_scope(calm.club):
            Attempt.objects.filter(session=session, outcome="not_judged").update(
                voided_at=timezone.now()
            )
        assert codes_of(calm) == []


class TestAlerts:
    def test_are_said_until_somebody_sees_to_them(self, calm: World, today: date):
        attempt = factories.make_attempt(
            calm.source, calm.athlete, calm.session, started_at=timezone.now().isoformat()
        )
        alert = factories.make_alert(attempt)
        admin = calm.as_("admin")

        (reason,) = row_of(calm)["reasons"]
        put_off = admin.patch(
            f"alerts/{alert.id}/",
            {"put_off_until_date": (today + timedelta(days=3)).isoformat(), "put_off_reason": "x"},
        )
        assert put_off.status_code == 200, put_off.content
        assert (reason["code"], reason["alert"]) == ("alert_no_jump_share", str(alert.id))
        assert codes_of(calm) == []


class TestWhoIsSeen:
    @pytest.fixture
    def squad(self, calm: World, today: date) -> Squad:
        squad = factories.make_squad(calm.club)
        joining.add_squad_member(club=calm.club, squad=squad, athlete=calm.athlete, from_date=today)
        former = factories.make_athlete(calm.club)
        joining.add_squad_member(
            club=calm.club,
            squad=squad,
            athlete=former,
            from_date=today - timedelta(days=9),
            until_date=today - timedelta(days=1),
        )
        return squad

    def test_are_those_of_a_squad_today(self, calm: World, squad: Squad):
        answer = read(calm.as_("admin"), f"?squad={squad.id}")

        assert [each["athlete"] for each in answer["results"]] == [str(calm.athlete.id)]
        assert answer["squad"] == str(squad.id)
        assert read(calm.as_("admin"))["n"] == 2

    def test_are_a_coachs_own(self, calm: World, squad: Squad, today: date):
        coach = factories.make_member(calm.club, Role.COACH)
        api = Api(calm.club.slug, factories.make_person_token(coach))
        assert read(api)["results"] == []
        assert read(api, f"?squad={squad.id}")["results"] == []

        coaching.assign_coach(club=calm.club, coach=coach, athlete=calm.athlete, from_date=today)

        assert [each["athlete"] for each in read(api)["results"]] == [str(calm.athlete.id)]

    def test_know_no_squad_of_another_club(self, calm: World, second_world: World):
        theirs = factories.make_squad(second_world.club)
        answer = calm.as_("admin").get(f"overview?squad={theirs.id}")

        assert (answer.status_code, answer.json()["code"]) == (404, "not_found")

    def test_refuse_what_is_no_id(self, calm: World):
        answer = calm.as_("admin").get("overview?squad=youth")

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")


class TestAhead:
    def test_are_the_sessions_of_the_next_days(self, calm: World, today: date):
        days = {-1: False, 0: True, 7: True, 8: False}
        made = {
            ahead: factories.make_session(
                calm.club, held_date=today + timedelta(days=ahead), kind="competition"
            )
            for ahead in days
        }

        ahead = read(calm.as_("admin"))["ahead"]

        assert [each["id"] for each in ahead] == [str(made[d].id) for d in days if days[d]]
        assert ahead[0]["kind"] == "competition"


class TestConsent:
    def test_that_ends_today_is_missing_today(self, world: World, today: date):
        factories.make_measurement(world.athlete, measured_date=today)
        (missing,) = row_of(world)["reasons"]
        factories.make_consent(world.athlete, withdrawn_date=today)

        assert (missing["code"], missing["for_whom"]) == ("consent_missing", "admin")
        assert codes_of(world) == ["consent_missing"]

        factories.make_consent(world.athlete, from_date=today)
        assert codes_of(world) == []
