"""Who gets into the admin, and who is kept out."""

import re
from datetime import timedelta
from html.parser import HTMLParser

import pytest
from axes.models import AccessAttempt, AccessLog
from django.conf import settings
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clubs.models import Club, Membership, Role
from clubs.services import log_ins
from common.club_scope import club_scope
from tests.admin.scenes import PASSWORD
from tests.factories import make_athlete, make_member

pytestmark = pytest.mark.django_db

WRONG = "not-the-password"


def try_log_in(browser: Client, email: str, password: str):
    return browser.post(reverse("admin:login"), {"username": email, "password": password})


class TestLogIn:
    def test_lets_an_admin_in_by_e_mail_in_any_case(self, admin_membership: Membership):
        browser = Client()

        answer = try_log_in(browser, "ADMIN@Example.org", PASSWORD)

        assert answer.status_code == 302
        index = browser.get(reverse("admin:index"))
        assert "Penult: Club of ours" in index.content.decode()

    def test_sends_a_stranger_to_the_log_in(self, admin_membership: Membership):
        answer = Client().get(reverse("admin:athletes_athlete_changelist"))

        assert answer.status_code == 302
        assert answer.headers["Location"].startswith(reverse("admin:login"))

    @pytest.mark.parametrize("role", [Role.COACH, Role.ATHLETE])
    def test_tells_a_coach_no_more_than_a_guesser(
        self, club: Club, admin_membership: Membership, role: Role
    ):
        make_member(club, role, email="benno@example.org", password=PASSWORD)

        right = try_log_in(Client(), "benno@example.org", PASSWORD)
        wrong = try_log_in(Client(), "benno@example.org", WRONG)

        for answer in (right, wrong):
            assert answer.status_code == 200
            assert answer.context["form"].non_field_errors() == [
                "This e-mail and password do not open a club's admin."
            ]

    def test_keeps_out_who_is_no_admin_any_more(self, club: Club, admin_membership: Membership):
        with club_scope(club):
            Membership.objects.filter(id=admin_membership.id).update(
                ended_at="2026-01-01T00:00:00Z"
            )

        assert try_log_in(Client(), "admin@example.org", PASSWORD).status_code == 200

    def test_logs_out(self, browser: Client):
        browser.post(reverse("admin:logout"))

        assert browser.get(reverse("admin:index")).status_code == 302


class TestThrottle:
    def test_locks_after_too_many_wrong_passwords(self, admin_membership: Membership):
        browser = Client()
        # Spelled differently each time: it is one person all the same.
        for number in range(settings.AXES_FAILURE_LIMIT):
            email = "admin@example.org" if number % 2 else "Admin@Example.org"
            answer = try_log_in(browser, email, WRONG)

        right = try_log_in(browser, "admin@example.org", PASSWORD)

        assert answer.status_code == 429
        assert right.status_code == 429
        assert AccessAttempt.objects.get().failures_since_start >= settings.AXES_FAILURE_LIMIT

    def test_leaves_others_alone(self, club: Club, admin_membership: Membership):
        make_member(club, Role.ADMIN, email="second@example.org", password=PASSWORD)
        browser = Client()
        for _ in range(settings.AXES_FAILURE_LIMIT):
            try_log_in(browser, "admin@example.org", WRONG)

        assert try_log_in(browser, "second@example.org", PASSWORD).status_code == 302


class TestTraces:
    """What a log-in leaves behind: nobody can read later who came when, and from where."""

    def test_a_log_in_is_written_down_nowhere(self, admin_membership: Membership):
        browser = Client()

        try_log_in(browser, "admin@example.org", PASSWORD)
        browser.post(reverse("admin:logout"))

        assert not AccessLog.objects.exists()
        assert not AccessAttempt.objects.exists()

    def test_the_right_password_makes_wrong_ones_forgotten(self, admin_membership: Membership):
        browser = Client()
        try_log_in(browser, "admin@example.org", WRONG)
        assert AccessAttempt.objects.count() == 1

        try_log_in(browser, "admin@example.org", PASSWORD)

        assert not AccessAttempt.objects.exists()

    def test_wrong_ones_are_forgotten_once_they_lock_nobody_out(self, db: None):
        for email in ("old@example.org", "new@example.org"):
            try_log_in(Client(), email, WRONG)
        cooled_off = timezone.now() - timedelta(hours=settings.AXES_COOLOFF_TIME)
        AccessAttempt.objects.filter(username="old@example.org").update(attempt_time=cooled_off)

        forgotten = log_ins.forget_log_ins()

        assert forgotten == 1
        assert AccessAttempt.objects.get().username == "new@example.org"

    def test_sessions_that_are_over_are_deleted(self, browser: Client):
        live = Session.objects.get()
        Session.objects.create(
            session_key="over", session_data="-", expire_date=timezone.now() - timedelta(seconds=1)
        )

        log_ins.forget_log_ins()

        assert Session.objects.get() == live

    def test_the_log_names_neither_person_nor_place(
        self, admin_membership: Membership, caplog: pytest.LogCaptureFixture
    ):
        caplog.set_level("DEBUG")
        for _ in range(settings.AXES_FAILURE_LIMIT):
            Client().post(
                reverse("admin:login"),
                {"username": "admin@example.org", "password": WRONG},
                REMOTE_ADDR="203.0.113.9",  # kept for examples (RFC 5737)
            )

        assert "Locking out" in caplog.text
        assert "admin@example.org" not in caplog.text
        assert "203.0.113.9" not in caplog.text


class InlineScripts(HTMLParser):
    """Collects what the browser would refuse under `script-src 'self'`."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        if tag == "script" and "src" not in named and named.get("type") != "application/json":
            self.found.append(self.get_starttag_text() or tag)
        self.found += [name for name in named if re.fullmatch(r"on\w+", name)]
        self.found += [
            name for name, value in attrs if value and value.strip().startswith("javascript:")
        ]


class TestContentSecurityPolicy:
    @pytest.mark.parametrize(
        "page", ["index", "athletes_athlete_add", "athletes_athlete_changelist", "choose_club"]
    )
    def test_pages_bring_no_script_of_their_own(self, browser: Client, club: Club, page: str):
        make_athlete(club)

        answer = browser.get(reverse(f"admin:{page}"))

        parser = InlineScripts()
        parser.feed(answer.content.decode())
        assert "script-src 'self'" in answer.headers["Content-Security-Policy"]
        assert parser.found == []

    def test_pages_of_people_are_neither_framed_nor_kept(self, browser: Client, club: Club):
        athlete = make_athlete(club)

        answer = browser.get(reverse("admin:athletes_athlete_overview", args=[athlete.pk]))

        # OWASP HTTP Security Response Headers Cheat Sheet (from memory): these, and no-store for
        # what holds personal data.
        assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
        assert answer.headers["X-Frame-Options"] == "DENY"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Referrer-Policy"] == "same-origin"
        assert answer.headers["Cross-Origin-Opener-Policy"] == "same-origin"
        assert "no-store" in answer.headers["Cache-Control"]

    def test_times_are_shown_in_the_clubs_zone(self, browser: Client, club: Club):
        with club_scope(club):
            Club.objects.update(time_zone="Pacific/Auckland")
        make_athlete(club, archived_at="2026-05-02T20:00:00Z")

        page = browser.get(reverse("admin:athletes_athlete_changelist")).content.decode()

        assert "3 May 2026, 08:00" in page
