"""Who gets into the pages, and who is kept out."""

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from clubs.models import Membership, Role
from common.club_scope import club_scope
from tests.admin.scenes import PASSWORD, log_in
from tests.factories import make_club, make_member
from tests.pages.conftest import Team

WRONG = "not-the-password"


def try_log_in(browser: Client, email: str, password: str = PASSWORD, **fields: str):
    return browser.post(
        reverse("pages:log_in"), {"username": email, "password": password, **fields}
    )


@pytest.mark.parametrize("role", list(Role))
def test_lets_every_member_in_and_leads_to_their_only_club(team: Team, role: Role):
    make_member(team.club, role, email="benno@example.org", password=PASSWORD)
    browser = Client()

    answer = try_log_in(browser, "Benno@Example.org")

    assert answer["Location"] == reverse("pages:clubs")
    assert browser.get(reverse("pages:clubs"))["Location"] == team.base


def test_leads_back_to_where_the_person_wanted_to_go(team: Team):
    make_member(team.club, email="benno@example.org", password=PASSWORD)
    browser = Client()

    sent_away = browser.get(team.board)

    assert sent_away["Location"] == f"{reverse('pages:log_in')}?next={team.board}"
    assert try_log_in(browser, "benno@example.org", next=team.board)["Location"] == team.board


def test_never_leads_elsewhere(team: Team):
    make_member(team.club, email="benno@example.org", password=PASSWORD)

    answer = try_log_in(Client(), "benno@example.org", next="https://elsewhere.example/")

    assert answer["Location"] == reverse("pages:clubs")


def test_tells_a_former_member_no_more_than_a_guesser(team: Team):
    former = make_member(team.club, email="benno@example.org", password=PASSWORD)
    with club_scope(team.club):
        Membership.objects.filter(id=former.id).update(ended_at="2026-01-01T00:00:00Z")

    answers = [try_log_in(Client(), "benno@example.org", each) for each in (PASSWORD, WRONG)]

    for answer in answers:
        assert answer.status_code == 200
        assert answer.context["form"].non_field_errors() == [
            "This e-mail and password do not open a club's pages."
        ]


def test_too_many_wrong_passwords_lock_the_door_of_the_admin_too(team: Team):
    make_member(team.club, Role.ADMIN, email="benno@example.org", password=PASSWORD)
    for _ in range(settings.AXES_FAILURE_LIMIT):
        try_log_in(Client(), "benno@example.org", WRONG)

    answers = [
        Client().post(reverse(name), {"username": "benno@example.org", "password": PASSWORD})
        for name in ("pages:log_in", "admin:login")
    ]

    assert [answer.status_code for answer in answers] == [429, 429]


def test_a_coachs_log_in_opens_no_admin(team: Team):
    assert team.browser().get(reverse("admin:index")).status_code == 302


def test_who_is_in_two_clubs_chooses(team: Team):
    theirs = make_club(name="Club of theirs")
    make_member(theirs, email=team.coach.user.email)

    page = team.browser().get(reverse("pages:clubs")).content.decode()

    assert "Club of ours" in page
    assert f'href="/pages/clubs/{theirs.slug}/"' in page


def test_log_out_asks_first(team: Team):
    browser = team.browser()

    assert browser.get(reverse("pages:log_out")).status_code == 200
    assert browser.get(team.base).status_code == 200
    logged_out = browser.post(reverse("pages:log_out"))
    assert logged_out.status_code == 302
    # Cards stay in nobody's browser; "storage" would throw away what waits for a line.
    assert logged_out["Clear-Site-Data"] == '"cache"'
    assert browser.get(team.base).status_code == 302


def test_another_club_answers_like_a_missing_one(team: Team):
    other = make_member(make_club(), Role.ADMIN)

    answers = [log_in(other).get(each) for each in (team.base, "/pages/clubs/no-such-club/")]

    assert [answer.status_code for answer in answers] == [404, 404]
    assert answers[0].content == answers[1].content
