"""How long a log-in lasts: it slides with use, ends for good, and at once with a new password."""

import time
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from clubs.models import Membership, Role
from common import log_in_age
from tests.admin.scenes import PASSWORD, log_in
from tests.factories import make_club, make_member
from tests.pages.conftest import Team

HOUR_S, DAY_S = 3600, 24 * 3600
NEW = "one-more-long-run-up"
AT_WORK_S = log_in_age.PAUSE_S - 60


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Return what lets time pass for the age of log-ins."""
    passed = [0]
    now_s = time.time()
    monkeypatch.setattr(time, "time", lambda: now_s + passed[0])

    def wait(seconds: int) -> None:
        passed[0] += seconds

    return wait


def is_in(browser: Client, team: Team) -> bool:
    answer = browser.get(team.base)
    assert answer.status_code in {200, 302}
    return answer.status_code == 200


class TestItsAge:
    def test_a_day_without_use_ends_it(self, team: Team, later: Any):
        browser = team.browser()
        assert is_in(browser, team)

        later(DAY_S + 1)

        assert not is_in(browser, team)
        assert SESSION_KEY not in browser.session

    def test_lasts_over_the_night_of_a_meeting(self, team: Team, later: Any):
        browser = team.browser()

        for pause_s in (5 * HOUR_S, 14 * HOUR_S, 9 * HOUR_S):
            later(pause_s)
            assert is_in(browser, team)

    def test_use_keeps_it_in_the_browser_and_in_the_table(self, team: Team, later: Any):
        browser = team.browser()
        before = Session.objects.get().expire_date
        later(HOUR_S)

        answer = browser.get(team.base)

        assert answer.cookies[settings.SESSION_COOKIE_NAME]["max-age"] == DAY_S
        assert Session.objects.get().expire_date > before

    def test_a_board_that_asks_every_ten_seconds_writes_seldom(self, team: Team, later: Any):
        browser = team.browser()
        told = []
        for _ in range(60):
            later(10)
            told.append(settings.SESSION_COOKIE_NAME in browser.get(team.base).cookies)

        assert sum(told) == 1

    def test_a_week_ends_it_in_the_next_pause_only(self, team: Team, later: Any):
        browser = team.browser()
        for _ in range(7):
            later(DAY_S - 60)
            assert is_in(browser, team)
        later(7 * 60 + 1)
        assert is_in(browser, team)

        later(AT_WORK_S)
        assert is_in(browser, team)
        later(log_in_age.PAUSE_S + 1)
        assert not is_in(browser, team)

    def test_a_board_left_open_ends_a_day_after_the_week(self, team: Team, later: Any):
        browser = team.browser()
        n_asked = 0
        while is_in(browser, team):
            later(AT_WORK_S)
            n_asked += 1
            assert n_asked * AT_WORK_S <= 8 * DAY_S + 2 * AT_WORK_S

        assert (n_asked + 1) * AT_WORK_S > 8 * DAY_S

    def test_a_new_log_in_begins_to_count_anew(self, team: Team, later: Any):
        make_member(team.club, email="benno@example.org", password=PASSWORD)
        browser = Client()
        enter = {"username": "benno@example.org", "password": PASSWORD}
        browser.post(reverse("pages:log_in"), enter)
        for _ in range(7):
            later(DAY_S - 60)
            assert is_in(browser, team)

        browser.post(reverse("pages:log_in"), enter)
        later(20 * HOUR_S)

        assert is_in(browser, team)

    def test_of_the_admin_ends_too(self, team: Team, later: Any):
        browser = log_in(make_member(team.club, Role.ADMIN))
        assert browser.get(reverse("admin:index")).status_code == 200

        later(DAY_S + 1)

        assert browser.get(reverse("admin:index")).status_code == 302

    def test_at_the_api_it_is_over_as_well(self, team: Team, later: Any):
        browser, address = team.browser(), f"/api/v1/clubs/{team.club.slug}/athletes/"
        assert browser.get(address).status_code == 200

        later(DAY_S + 1)

        assert browser.get(address).status_code == 401

    def test_from_before_it_was_counted_begins_to_count(self, team: Team, later: Any):
        browser = team.browser()
        session = browser.session
        del session[log_in_age.LOGGED_IN_AT], session[log_in_age.USED_AT]
        session.save()

        assert is_in(browser, team)
        later(DAY_S + 1)
        assert not is_in(browser, team)


@pytest.fixture
def benno(team: Team) -> Membership:
    return make_member(team.club, email="benno@example.org", password=PASSWORD)


def change_password(browser: Client, old: str = PASSWORD, new: str = NEW) -> Any:
    fields = {"old_password": old, "new_password1": new, "new_password2": new}
    return browser.post(reverse("pages:password"), fields)


class TestANewPassword:
    def test_ends_every_other_log_in_at_once(self, team: Team, benno: Membership):
        here, lost = log_in(benno), log_in(benno)
        assert is_in(lost, team)

        answer = change_password(here)

        assert answer["Location"] == reverse("pages:clubs")
        assert is_in(here, team)
        assert not is_in(lost, team)
        assert lost.get(f"/api/v1/clubs/{team.club.slug}/athletes/").status_code == 401
        benno.user.refresh_from_db()
        assert benno.user.check_password(NEW)

    def test_needs_the_one_so_far(self, team: Team, benno: Membership):
        answer = change_password(log_in(benno), old="not-the-password")

        assert answer.status_code == 200
        assert "old_password" in answer.context["form"].errors
        benno.user.refresh_from_db()
        assert benno.user.check_password(PASSWORD)

    def test_is_no_door_for_guessers(self, team: Team, benno: Membership):
        browser = log_in(benno)
        for _ in range(settings.AXES_FAILURE_LIMIT):
            change_password(browser, old="not-the-password")

        assert change_password(browser).status_code == 429
        benno.user.refresh_from_db()
        assert benno.user.check_password(PASSWORD)

    @pytest.mark.parametrize("weak", ["short", "password1234", "benno@example.org"])
    def test_is_no_weak_one(self, team: Team, benno: Membership, weak: str):
        answer = change_password(log_in(benno), new=weak)

        assert "new_password2" in answer.context["form"].errors

    def test_is_for_who_is_logged_in(self, team: Team):
        answer = Client().get(reverse("pages:password"))

        assert answer["Location"].startswith(reverse("pages:log_in"))

    def test_comes_from_our_page_only(self, team: Team, benno: Membership):
        browser = log_in(benno)
        browser.handler.enforce_csrf_checks = True

        assert change_password(browser).status_code == 403

    def test_set_by_whoever_runs_the_service_ends_all(
        self, team: Team, benno: Membership, monkeypatch: pytest.MonkeyPatch
    ):
        browser = log_in(benno)
        monkeypatch.setattr("getpass.getpass", lambda *_, **__: NEW)

        call_command("changepassword", "benno@example.org")

        assert not is_in(browser, team)


def test_who_leaves_the_club_reads_nothing_more(team: Team, benno: Membership):
    other = make_club()
    make_member(other, email="benno@example.org")
    browser = log_in(benno)
    assert browser.get(team.base).status_code == 200

    admin = make_member(team.club, Role.ADMIN)
    answer = log_in(admin).post(
        reverse("admin:clubs_membership_change", args=[benno.id]),
        {
            "_club": str(team.club.id),
            "role": "coach",
            "ended_at_0": "2026-01-01",
            "ended_at_1": "00:00",
        },
    )

    assert answer.status_code == 302
    assert browser.get(team.base).status_code == 404
    assert browser.get(f"/api/v1/clubs/{team.club.slug}/athletes/").status_code == 404
