"""The first page, squads, an athlete's page, and what a coach does about an alert there."""

from datetime import date
from typing import Any

import pytest
from django.test import Client

from analytics.models import Alert
from athletes.models import Athlete, CoachAssignment, SquadMember
from clubs.models import AuditEntry, Role
from clubs.selectors import today_at
from common.club_scope import club_scope
from tests.admin.scenes import log_in
from tests.factories import (
    make_alert,
    make_attempt,
    make_club,
    make_member,
    make_session,
    make_source,
    make_squad,
)
from tests.pages.conftest import Team


def text_of(answer: Any) -> str:
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


@pytest.fixture
def alert(team: Team) -> Alert:
    return make_alert(make_attempt(make_source(team.club), team.athlete, team.session))


@pytest.fixture
def athlete_browser(team: Team) -> Client:
    member = make_member(team.club, Role.ATHLETE)
    with club_scope(team.club):
        Athlete.objects.filter(id=team.athlete.id).update(user=member.user)
    return log_in(member)


class TestHome:
    def test_tells_a_coach_of_own_athletes_and_sessions(self, team: Team, alert: Alert):
        make_session(team.club, code="today-am", held_date=today_at(team.club))

        page = text_of(team.browser().get(team.base))

        assert "Mira Ostwiek" in page
        assert "11 of the last 20 attempts were no jumps" in page
        assert "Torbach" not in page
        assert "today-am <strong>today</strong>" in page
        assert page.index("today-am") < page.index("Who needs you")

    def test_has_no_place_for_today_without_a_session(self, team: Team):
        make_session(team.club, code="long-ago", held_date=date(2025, 5, 2))

        assert "of-today" not in text_of(team.browser().get(team.base))

    def test_lists_the_squads_of_own_athletes_alone(self, team: Team):
        ours, theirs = (make_squad(team.club, name=name) for name in ("Juniors", "Seniors"))
        day = today_at(team.club)
        with club_scope(team.club):
            for squad, athlete in ((ours, team.athlete), (theirs, team.stranger)):
                SquadMember.objects.create(
                    club=team.club, squad=squad, athlete=athlete, from_date=day
                )

        page = text_of(team.browser().get(team.base))

        assert "Juniors" in page
        assert "Seniors" not in page
        assert "Mira Ostwiek" in text_of(team.browser().get(f"{team.base}squads/{ours.id}/"))
        # The squad is the club's to know, its athletes are not.
        assert "Torbach" not in text_of(team.browser().get(f"{team.base}squads/{theirs.id}/"))

    def test_leads_an_athlete_to_their_own_page(self, team: Team, athlete_browser: Client):
        assert (
            athlete_browser.get(team.base)["Location"] == f"{team.base}athletes/{team.athlete.id}/"
        )

    def test_tells_a_log_in_without_an_athlete_so(self, team: Team):
        page = text_of(log_in(make_member(team.club, Role.ATHLETE)).get(team.base))

        assert "belongs to no athlete" in page


class TestAthlete:
    def address(self, team: Team, athlete: Athlete | None = None) -> str:
        return f"{team.base}athletes/{(athlete or team.athlete).id}/"

    def test_shows_the_plan_alerts_and_the_card(self, team: Team, alert: Alert):
        page = text_of(team.browser().get(self.address(team)))

        assert "start mark 34.20 m, aim 0.06 m behind the line" in page
        assert "11 of the last 20 attempts were no jumps" in page
        assert "at 95% confidence between 32% and 77%" in page  # how sure it is
        papers = (
            f"approaches/{team.approach.id}/card",
            f"approaches/{team.approach.id}/last-steps-layout/paper",
            f"reports/season/athletes/{team.athlete.id}/paper",
        )
        for paper in papers:
            address = f"/api/v1/clubs/{team.club.slug}/{paper}"
            assert f'href="{address}?as=html"' in page
            answer = team.browser().get(f"{address}?as=html")
            assert (answer.status_code, answer["Cache-Control"]) == (200, "private, no-store")

    @pytest.mark.parametrize("path", ["trend", "steering"])
    def test_pictures_open_with_the_log_in_of_the_page(
        self, team: Team, alert: Alert, athlete_browser: Client, path: str
    ):
        address = f"/api/v1/clubs/{team.club.slug}/approaches/{team.approach.id}/{path}/chart"
        stranger = address.replace(str(team.approach.id), str(team.strange_approach.id))

        for browser in (team.browser(), athlete_browser):
            answer = browser.get(f"{address}?look=dark", headers={"Accept": "image/*,*/*;q=0.8"})
            assert (answer.status_code, answer["Content-Type"]) == (200, "image/svg+xml")
            assert browser.get(stranger).status_code == 404

    def test_an_athlete_reads_own_page_and_changes_nothing(
        self, team: Team, alert: Alert, athlete_browser: Client
    ):
        page = text_of(athlete_browser.get(self.address(team)))
        refused = athlete_browser.post(
            f"{team.base}alerts/{alert.id}/", {"version": alert.version, "acknowledged": "true"}
        )

        assert "11 of the last 20 attempts were no jumps" in page
        assert "I have seen it" not in page
        assert refused.status_code == 403
        with club_scope(team.club):
            assert Alert.objects.get(id=alert.id).acknowledged_at is None

    def test_a_stranger_does_not_exist(self, team: Team, athlete_browser: Client):
        theirs = log_in(make_member(make_club(), Role.ADMIN))

        answers = [
            browser.get(self.address(team, athlete))
            for browser, athlete in (
                (team.browser(), team.stranger),
                (athlete_browser, team.stranger),
                (theirs, team.athlete),
            )
        ]

        assert [answer.status_code for answer in answers] == [404, 404, 404]
        assert not any("Torbach" in answer.content.decode() for answer in answers)

    def test_ends_with_the_charge(self, team: Team):
        with club_scope(team.club):
            CoachAssignment.objects.update(until_date=date(2026, 2, 1))

        assert team.browser().get(self.address(team)).status_code == 404


class TestAlerts:
    def test_a_coach_says_that_an_alert_was_seen_and_takes_it_back(self, team: Team, alert: Alert):
        browser, door = team.browser(), f"{team.base}alerts/{alert.id}/"

        answer = browser.post(door, {"version": alert.version, "acknowledged": "true"}, follow=True)

        assert "Marked as seen." in text_of(answer)
        assert "Not seen after all" in text_of(answer)
        with club_scope(team.club):
            seen = Alert.objects.get(id=alert.id)
            assert seen.acknowledged_by_id == team.coach.id
            assert AuditEntry.objects.filter(actor_id=team.coach.id).count() == 1
        browser.post(door, {"version": seen.version, "acknowledged": "false"})
        with club_scope(team.club):
            assert Alert.objects.get(id=alert.id).acknowledged_at is None

    @pytest.mark.parametrize("version", ["", "-1", "1.0", "²", "9" * 10, "9" * 5000])
    def test_a_version_that_is_none_finds_nothing(self, team: Team, alert: Alert, version: str):
        answer = team.browser().post(
            f"{team.base}alerts/{alert.id}/", {"version": version, "acknowledged": "true"}
        )

        assert answer.status_code == 404

    def test_what_was_changed_meanwhile_is_not_overwritten(self, team: Team, alert: Alert):
        answer = team.browser().post(
            f"{team.base}alerts/{alert.id}/",
            {"version": alert.version + 1, "acknowledged": "true"},
            follow=True,
        )

        assert "Nothing was changed" in text_of(answer)
        with club_scope(team.club):
            assert Alert.objects.get(id=alert.id).acknowledged_at is None

    @pytest.mark.parametrize("version", ["", "-1", "one"])
    def test_a_form_that_is_not_ours_finds_nothing(self, team: Team, alert: Alert, version: str):
        answer = team.browser().post(
            f"{team.base}alerts/{alert.id}/", {"version": version, "acknowledged": "true"}
        )

        assert answer.status_code == 404

    def test_needs_a_form_of_ours(self, team: Team, alert: Alert):
        browser = team.browser()
        browser.handler.enforce_csrf_checks = True

        answer = browser.post(
            f"{team.base}alerts/{alert.id}/", {"version": alert.version, "acknowledged": "true"}
        )

        assert answer.status_code == 403

    def test_a_strangers_alert_does_not_exist(self, team: Team):
        strange = make_alert(make_attempt(make_source(team.club), team.stranger, team.session))

        answer = team.browser().post(
            f"{team.base}alerts/{strange.id}/", {"version": 1, "acknowledged": "true"}
        )

        assert answer.status_code == 404
