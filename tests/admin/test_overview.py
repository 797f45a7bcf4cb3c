"""An athlete's page: everything that a club's admin asks about an athlete, in one place."""

import re
from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.html import strip_tags

from approaches.models import FinishClass, PendingRefresh
from athletes.models import Athlete, CoachAssignment, Consent, SquadMember
from clubs.models import Club, Membership, Role
from clubs.selectors import today_at
from common.club_scope import club_scope
from tests.admin.scenes import PASSWORD, log_in, save
from tests.analytics.conftest import Season
from tests.approaches.conftest import make_scene
from tests.factories import make_approach, make_athlete, make_member, make_plan, make_squad

pytestmark = pytest.mark.django_db(transaction=True)


def look_at(browser: Client, athlete: Athlete) -> dict[str, str]:
    """Return the text of each section of the athlete's page, by its title."""
    answer = browser.get(reverse("admin:athletes_athlete_overview", args=[athlete.pk]))
    assert answer.status_code == 200
    parts = re.findall(
        r"<section.*?<h2[^>]*>(.*?)</h2>(.*?)</section>", answer.content.decode(), re.S
    )
    return {title: " ".join(strip_tags(text).split()) for title, text in parts}


class TestSquadsAndCoaches:
    def test_shows_those_of_today_only(self, browser: Client, club: Club):
        athlete, today = make_athlete(club), today_at(club)
        juniors, seniors = make_squad(club, name="Juniors"), make_squad(club, name="Seniors")
        by_squad = make_member(club, email="squad@example.org")
        direct = make_member(club, email="direct@example.org")
        former = make_member(club, email="former@example.org")
        since, over = today - timedelta(days=30), today - timedelta(days=1)
        with club_scope(club):
            for squad, until in ((juniors, None), (seniors, over)):
                SquadMember.objects.create(
                    club=club, squad=squad, athlete=athlete, from_date=since, until_date=until
                )
            for coach, whom, until in (
                (by_squad, {"squad": juniors}, None),
                (direct, {"athlete": athlete}, today),
                (former, {"squad": seniors}, None),
                (former, {"athlete": athlete}, over),
            ):
                CoachAssignment.objects.create(
                    club=club, coach=coach, from_date=since, until_date=until, **whom
                )

        shown = look_at(browser, athlete)["Squads and coaches"]

        assert "Juniors" in shown
        assert "squad@example.org by Juniors" in shown
        assert "direct@example.org of this athlete" in shown
        assert "Seniors" not in shown
        assert "former@example.org" not in shown

    def test_says_when_there_are_none(self, browser: Client, club: Club):
        shown = look_at(browser, make_athlete(club))["Squads and coaches"]

        assert shown == "Squads In no squad today. Coaches No coach sees this athlete today."


class TestConsents:
    def test_tells_given_withdrawn_and_missing_apart(self, browser: Client, club: Club):
        athlete, today = make_athlete(club), today_at(club)
        give(
            athlete, Consent.Purpose.TRAINING_RECORDS, today - timedelta(days=400), withdrawn=today
        )
        give(athlete, Consent.Purpose.SHARING_WITH_COACHES, today - timedelta(days=400))
        # Given for a day that has not come: it covers nothing yet.
        give(athlete, Consent.Purpose.RESEARCH, today + timedelta(days=1))

        shown = look_at(browser, athlete)["Consents"]

        assert "withdrawn Training records" in shown
        assert "given Sharing with coaches by a guardian" in shown
        assert shown.endswith("missing Research")

    def test_a_newer_consent_takes_the_place_of_a_withdrawn_one(self, browser: Client, club: Club):
        athlete, today = make_athlete(club), today_at(club)
        earlier = today - timedelta(days=400)
        give(athlete, Consent.Purpose.RESEARCH, earlier, withdrawn=today - timedelta(days=9))
        give(athlete, Consent.Purpose.RESEARCH, today)

        assert "given Research" in look_at(browser, athlete)["Consents"]

    def test_a_withdrawal_counts_from_its_day_on(self, browser: Client, club: Club):
        athlete, today = make_athlete(club), today_at(club)
        give(athlete, Consent.Purpose.RESEARCH, today, withdrawn=today + timedelta(days=1))

        assert "given Research" in look_at(browser, athlete)["Consents"]


class TestRunUps:
    def test_shows_the_plan_in_force_and_not_the_next_one(self, browser: Client, club: Club):
        approach = make_approach(make_athlete(club))
        make_plan(approach, start_mark_m=34.2)
        make_plan(approach, revision=2, start_mark_m=35.9, valid_from="2999-01-01T00:00:00Z")

        shown = look_at(browser, approach.athlete)["Run-ups"]

        assert "LJ-16 Long jump, 16 steps, standing start" in shown
        assert "Plan revision 1 in force" in shown
        assert "start mark 34.20 m" in shown
        assert "35.90" not in shown

    def test_shows_the_figures_that_the_last_attempt_left(self, season: Season):
        # By hand: 5 to 13 cm by twos have mean 9 (aim 6) and SD sqrt(40 / 4) = 3.162. From any
        # table of t and chi-square, 4 degrees of freedom at 95 %: 2.776, and 0.484 to 11.14.
        season.add_session([0.05, 0.07, 0.09, 0.11, 0.13])
        season.push()
        season.refresh()

        shown = look_at(as_admin(season), season.scene.athlete)["Run-ups"]

        assert "Jumps and pop-ups +3.0 cm (−0.9 to +6.9)" in shown
        assert "3.2 cm (1.9 to 9.1)" in shown
        assert "5 of 5" in shown
        assert "stale" not in shown

    def test_says_that_newer_attempts_wait(self, season: Season):
        season.add_session([0.05, 0.07, 0.09])
        season.push()

        shown = look_at(as_admin(season), season.scene.athlete)["Run-ups"]

        assert "not computed yet" in shown
        assert "stale: newer attempts wait" in shown

    def test_says_that_a_series_fails(self, season: Season):
        season.add_session([0.05, 0.07, 0.09])
        season.push()
        season.refresh()
        scene = season.scene
        with club_scope(scene.club):
            PendingRefresh.objects.create(
                club=scene.club,
                approach=scene.approach,
                finish_class=FinishClass.JUMP,
                first_changed_at="2026-03-02T15:00:00Z",
                failures=3,
            )

        assert "failed 3×" in look_at(as_admin(season), scene.athlete)["Run-ups"]


class TestAlerts:
    def test_shows_what_is_open_in_words(self, browser: Client, club: Club):
        athlete = make_athlete(club)

        assert look_at(browser, athlete)["Open alerts"] == "None."


class TestLeadingOn:
    def test_the_list_leads_to_the_page_and_the_form_back(self, browser: Client, club: Club):
        athlete = make_athlete(club, code="A-17")
        page = reverse("admin:athletes_athlete_overview", args=[athlete.pk])

        listed = browser.get(reverse("admin:athletes_athlete_changelist")).content.decode()
        saved = save(
            browser,
            club,
            "athletes_athlete",
            {"code": "A-18", "given_name": "B", "family_name": "C", "birth_date": "2009-04-01"},
            row=athlete,
        )

        assert f'href="{page}"' in listed
        assert saved.headers["Location"] == page

    def test_every_link_leads_somewhere(self, browser: Client, club: Club):
        athlete = make_athlete(club)
        make_plan(make_approach(athlete))
        page = browser.get(reverse("admin:athletes_athlete_overview", args=[athlete.pk]))
        main = page.content.decode().partition('id="content-main"')[2]
        addresses = re.findall(r'href="(/admin/[^"]+)"', main)

        assert len(addresses) >= 7
        for each in addresses:
            assert browser.get(each).status_code == 200, each


def give(
    athlete: Athlete, purpose: Consent.Purpose, from_date: date, *, withdrawn: date | None = None
) -> None:
    with club_scope(athlete.club_id):
        Consent.objects.create(
            club_id=athlete.club_id,
            athlete=athlete,
            purpose=purpose,
            given_by=Consent.GivenBy.GUARDIAN,
            text_version="1",
            from_date=from_date,
            withdrawn_date=withdrawn,
        )


@pytest.fixture
def season(transactional_db: None) -> Season:
    return Season(make_scene())


def as_admin(season: Season) -> Client:
    admin: Membership = make_member(season.scene.club, Role.ADMIN, password=PASSWORD)
    return log_in(admin)
