"""What people do about alerts: who, when, for how long, and that judging leaves it alone."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from analytics.models import Alert
from analytics.services import alerting, attending
from athletes.models import SquadMember
from athletes.services import coaching
from clubs.models import AuditEntry, Role
from clubs.selectors import find_caller, today_at
from common.club_scope import club_scope
from common.errors import InvalidInputError
from common.versions import ANY_VERSION
from tests import factories
from tests.api.conftest import Api, World

REASON = "No run-ups until the training camp."


@pytest.fixture
def alert(world: World) -> Alert:
    return factories.make_alert(
        factories.make_attempt(world.source, world.athlete, world.session, gates=None)
    )


@pytest.fixture
def coach(world: World) -> Api:
    """Return a coach in charge of the athlete."""
    member = factories.make_member(world.club, Role.COACH)
    coaching.assign_coach(
        club=world.club, coach=member, athlete=world.athlete, from_date=date(2026, 1, 1)
    )
    return Api(world.club.slug, factories.make_person_token(member))


def today(world: World) -> date:
    return today_at(world.club)


def put_off(world: World, *, days: int = 14) -> dict[str, Any]:
    return {
        "put_off_until_date": (today(world) + timedelta(days=days)).isoformat(),
        "put_off_reason": REASON,
    }


def close(world: World, alert: Alert) -> None:
    with club_scope(world.club):
        Alert.objects.filter(id=alert.id).update(
            closed_at=datetime(2026, 5, 9, tzinfo=UTC), closed_because=alerting.CALM
        )


def listed(api: Api, query: str) -> list[str]:
    return [each["id"] for each in api.get(f"alerts/?{query}").json()["results"]]


def faults(answer: Any) -> dict[str, str]:
    assert answer.status_code == 400, answer.content
    return {each["pointer"]: each["code"] for each in answer.json()["errors"]}


class TestWords:
    def test_are_in_the_language_of_the_reader(self, coach: Api, alert: Alert):
        german = {"Accept-Language": "de"}

        one = coach.get(f"alerts/{alert.id}/", **german)
        (listed_one,) = coach.get("alerts/", **german).json()["results"]

        told = "11 der letzten 20 Versuche waren ungültig."
        assert one.json()["text"].startswith(told)
        assert listed_one["text"].startswith(told)
        assert "Accept-Language" in one["Vary"]

    def test_have_a_tag_in_each_language(self, coach: Api, alert: Alert):
        path = f"alerts/{alert.id}/"
        english = coach.get(path)

        german = coach.get(path, **{"Accept-Language": "de", "If-None-Match": english["ETag"]})

        assert german.status_code == 200
        assert german["ETag"] != english["ETag"]
        assert english.json()["text"].startswith("11 of the last 20 attempts were no jumps.")


class TestAcknowledging:
    def test_says_who_and_when_and_is_in_the_audit(self, world: World, coach: Api, alert: Alert):
        read = coach.get(f"alerts/{alert.id}/")

        done = coach.patch(f"alerts/{alert.id}/", {"acknowledged": True}, if_match=read["ETag"])

        said = done.json()
        with club_scope(world.club):
            (entry,) = AuditEntry.objects.filter(action="alert_changed")
            token = entry.actor_id
        assert (done.status_code, done["ETag"][:3]) == (200, '"2-')
        assert said["acknowledged_at"] is not None
        assert entry.subject_ids == [alert.id]
        assert entry.field_names == ["acknowledged_at", "acknowledged_by_id"]
        assert token is not None
        assert said["acknowledged_by"] != str(token)
        assert coach.get(f"alerts/{alert.id}/").json() == said

    def test_a_second_time_keeps_the_first(self, world: World, coach: Api, alert: Alert):
        first = coach.patch(f"alerts/{alert.id}/", {"acknowledged": True})

        second = world.as_("admin").patch(f"alerts/{alert.id}/", {"acknowledged": True})

        assert second.json() == first.json()
        assert first["ETag"][:3] == second["ETag"][:3] == '"2-'
        with club_scope(world.club):
            assert AuditEntry.objects.filter(action="alert_changed").count() == 1

    def test_can_be_taken_back(self, coach: Api, alert: Alert):
        coach.patch(f"alerts/{alert.id}/", {"acknowledged": True})

        back = coach.patch(f"alerts/{alert.id}/", {"acknowledged": False}).json()

        assert (back["acknowledged_at"], back["acknowledged_by"]) == (None, None)

    def test_starts_from_what_was_read(self, coach: Api, alert: Alert):
        path = f"alerts/{alert.id}/"
        coach.patch(path, {"acknowledged": True}, if_match='"1"')

        late = coach.patch(path, {"acknowledged": False}, if_match='"1"')
        blind = coach.patch(path, {"acknowledged": False}, if_match=None)

        assert (late.status_code, late.json()["code"]) == (412, "stale_version")
        assert (blind.status_code, blind.json()["code"]) == (428, "version_required")
        assert coach.get(path).json()["acknowledged_at"] is not None

    def test_is_not_for_athletes_and_strangers(self, world: World, alert: Alert):
        body = {"acknowledged": True}

        athlete = world.as_("athlete").patch(f"alerts/{alert.id}/", body)
        stranger = world.as_("coach").patch(f"alerts/{alert.id}/", body)

        assert (athlete.status_code, athlete.json()["code"]) == (403, "not_allowed")
        assert stranger.status_code == 404
        with club_scope(world.club):
            assert Alert.objects.get(id=alert.id).acknowledged_at is None


class TestPuttingOff:
    def test_says_until_when_why_and_who(self, world: World, coach: Api, alert: Alert):
        said = coach.patch(f"alerts/{alert.id}/", put_off(world)).json()

        assert said["put_off_until_date"] == put_off(world)["put_off_until_date"]
        assert said["put_off_reason"] == REASON
        assert said["put_off_at"] is not None
        assert said["put_off_by"] is not None
        assert said["acknowledged_at"] is None

    def test_ends_by_itself_on_its_day(
        self, world: World, coach: Api, alert: Alert, monkeypatch: pytest.MonkeyPatch
    ):
        coach.patch(f"alerts/{alert.id}/", put_off(world, days=14))
        query = "open=true&acknowledged=false&put_off=false"
        before = listed(coach, query), listed(coach, "put_off=true")

        days_later: dict[int, list[str]] = {13: [], 14: []}
        said: dict[int, bool] = {}
        for days in days_later:
            day = today(world) + timedelta(days=days)
            with monkeypatch.context() as later:
                later.setattr("analytics.api.filters.today_at", lambda _club, day=day: day)
                later.setattr("clubs.api.base.today_at", lambda _club, day=day: day)
                days_later[days] = listed(coach, query)
                said[days] = coach.get(f"alerts/{alert.id}/").json()["is_put_off"]

        assert before == ([], [str(alert.id)])
        assert days_later == {13: [], 14: [str(alert.id)]}
        assert said == {13: True, 14: False}

    def test_and_acknowledging_end_each_other(self, world: World, coach: Api, alert: Alert):
        path = f"alerts/{alert.id}/"
        coach.patch(path, put_off(world))

        seen = coach.patch(path, {"acknowledged": True}).json()
        again = coach.patch(path, put_off(world)).json()
        back = coach.patch(path, {"put_off_until_date": None}).json()

        assert (seen["put_off_until_date"], seen["put_off_reason"]) == (None, "")
        assert seen["put_off_by"] is None
        assert again["acknowledged_at"] is again["acknowledged_by"] is None
        assert back["put_off_until_date"] is back["put_off_at"] is back["put_off_by"] is None

    def test_to_the_same_day_for_the_same_reason_changes_nothing(
        self, world: World, coach: Api, alert: Alert
    ):
        first = coach.patch(f"alerts/{alert.id}/", put_off(world))

        second = world.as_("admin").patch(f"alerts/{alert.id}/", put_off(world))

        assert second.json() == first.json()
        assert first["ETag"][:3] == second["ETag"][:3] == '"2-'

    @pytest.mark.parametrize(
        ("changes", "expected"),
        [
            ({"put_off_reason": None}, {"/put_off_reason": "required"}),
            ({"put_off_until_date": None}, {"/put_off_reason": "reason_without_day"}),
            ({"days": 0}, {"/put_off_until_date": "day_has_come"}),
            ({"days": 367}, {"/put_off_until_date": "put_off_too_long"}),
            ({"acknowledged": True}, {"/acknowledged": "acknowledged_and_put_off"}),
            ({"put_off_reason": ""}, {"/put_off_reason": "blank"}),
            ({"until": "2026-06-01"}, {"/until": "unknown_field"}),
        ],
        ids=lambda each: "-".join(each) if isinstance(each, dict) else str(each),
    )
    def test_needs_a_day_to_come_and_a_reason(
        self,
        world: World,
        coach: Api,
        alert: Alert,
        changes: dict[str, Any],
        expected: dict[str, str],
    ):
        body = put_off(world, days=changes.get("days", 14))
        body |= {name: value for name, value in changes.items() if name != "days"}
        if changes.get("put_off_reason", REASON) is None:
            del body["put_off_reason"]

        answer = coach.patch(f"alerts/{alert.id}/", body)

        assert faults(answer) == expected
        with club_scope(world.club):
            assert Alert.objects.get(id=alert.id).version == 1

    def test_may_be_a_year_ahead(self, world: World, coach: Api, alert: Alert):
        assert coach.patch(f"alerts/{alert.id}/", put_off(world, days=366)).status_code == 200

    def test_goes_by_the_day_where_the_club_is(self, world: World, alert: Alert):
        """A day that has come in one zone is still to come in another."""
        caller = find_caller(world.tokens["admin"])
        attend: dict[str, Any] = {
            "club": world.club,
            "alert_id": alert.id,
            "expected": ANY_VERSION,
            "changes": {"put_off_until_date": date(2026, 5, 4), "put_off_reason": REASON},
            "caller": caller,
        }

        with pytest.raises(InvalidInputError) as refused:
            attending.attend_to_alert(**attend, today=date(2026, 5, 4))

        assert [fault.code for fault in refused.value.faults] == ["day_has_come"]
        assert attending.attend_to_alert(**attend, today=date(2026, 5, 3)).put_off_reason == REASON


class TestAClosedAlert:
    def test_is_nobodys_business_any_more(self, world: World, coach: Api, alert: Alert):
        close(world, alert)

        for body in ({"acknowledged": True}, put_off(world)):
            answer = coach.patch(f"alerts/{alert.id}/", body)
            assert (answer.status_code, answer.json()["code"]) == (409, "alert_closed")

    def test_keeps_what_was_done_and_takes_it_again(self, world: World, coach: Api, alert: Alert):
        coach.patch(f"alerts/{alert.id}/", {"acknowledged": True})
        close(world, alert)

        again = coach.patch(f"alerts/{alert.id}/", {"acknowledged": True})

        assert again.status_code == 200
        assert again.json()["acknowledged_at"] is not None


class TestFilters:
    def test_tell_apart_what_was_done(self, world: World, coach: Api, alert: Alert):
        later, seen, old = (
            factories.make_alert(
                factories.make_attempt(world.source, world.athlete, world.session, gates=None)
            )
            for _ in range(3)
        )
        close(world, old)
        coach.patch(f"alerts/{later.id}/", put_off(world))
        coach.patch(f"alerts/{seen.id}/", {"acknowledged": True})

        found = {
            query: set(listed(coach, query))
            for query in (
                "open=true&acknowledged=false&put_off=false",
                "acknowledged=true",
                "put_off=true",
                "open=false",
            )
        }

        assert list(found.values()) == [{str(each.id)} for each in (alert, seen, later, old)]
        assert len(listed(coach, "kind=no_jump_share&finish=jump")) == 4
        assert listed(coach, "kind=level") == []

    def test_find_those_of_a_squad_today(self, world: World, coach: Api, alert: Alert):
        squad, other = (factories.make_squad(world.club) for _ in range(2))
        with club_scope(world.club):
            for each, until in ((squad, None), (other, today(world) - timedelta(days=1))):
                SquadMember.objects.create(
                    club=world.club,
                    squad=each,
                    athlete=world.athlete,
                    from_date=date(2026, 1, 1),
                    until_date=until,
                )

        assert listed(coach, f"squad={squad.id}") == [str(alert.id)]
        assert listed(coach, f"squad={other.id}") == []
