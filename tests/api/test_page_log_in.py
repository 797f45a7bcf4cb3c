"""The log-in of a browser at the API: for our own pages, and for nobody else."""

import json
from typing import Any

import pytest
from django.middleware.csrf import _get_new_csrf_string
from django.test import Client

from approaches.models import Attempt
from athletes.models import CoachAssignment
from clubs.models import Membership, Role
from common.club_scope import club_scope
from tests.admin.scenes import log_in
from tests.api.conftest import BASE, World
from tests.factories import make_athlete, make_member, make_reading


@pytest.fixture
def coach(world: World) -> Membership:
    coach = make_member(world.club, Role.COACH)
    with club_scope(world.club):
        CoachAssignment.objects.create(
            club=world.club, coach=coach, athlete=world.athlete, from_date="2026-01-01"
        )
    return coach


def browser_of(membership: Membership) -> Client:
    """Return a browser that checks where requests come from, as every real one is checked."""
    browser = log_in(membership)
    browser.handler.enforce_csrf_checks = True
    browser.cookies["csrftoken"] = _get_new_csrf_string()
    return browser


def send(browser: Client, world: World, **headers: str) -> Any:
    """Send a typed attempt as the page does; an empty header is left out."""
    reading = make_reading(world.athlete, world.session, external_id=None, session=None)
    sent = {
        "Idempotency-Key": "typed-at-the-pit",
        "X-CSRFToken": browser.cookies["csrftoken"].value,
        **{name.replace("_", "-"): value for name, value in headers.items()},
    }
    return browser.post(
        f"{BASE}/{world.club.slug}/sessions/{world.session.id}/attempts/",
        json.dumps(reading),
        content_type="application/json",
        headers={name: value for name, value in sent.items() if value},
    )


class TestReading:
    def test_answers_who_is_logged_in_as_their_token_would_be(
        self, world: World, coach: Membership
    ):
        stranger = make_athlete(world.club)

        answer = log_in(coach).get(f"{BASE}/{world.club.slug}/athletes/")

        codes = [each["code"] for each in answer.json()["results"]]
        assert codes == [world.athlete.code]
        assert stranger.code not in codes
        assert {"Authorization", "Cookie"} <= set(answer["Vary"].split(", "))

    def test_another_club_does_not_exist(
        self, world: World, second_world: World, coach: Membership
    ):
        answers = [
            log_in(coach).get(f"{BASE}/{slug}/athletes/")
            for slug in (second_world.club.slug, "no-such-club")
        ]

        assert [answer.status_code for answer in answers] == [404, 404]
        bodies = [answer.json() for answer in answers]
        assert len({json.dumps({**body, "request_id": None}) for body in bodies}) == 1

    def test_ends_with_the_membership(self, world: World, coach: Membership):
        browser = log_in(coach)
        with club_scope(world.club):
            Membership.objects.filter(id=coach.id).update(ended_at="2026-01-01T00:00:00Z")

        assert browser.get(f"{BASE}/{world.club.slug}/athletes/").status_code == 404

    def test_nobody_is_not_authenticated(self, world: World):
        answer = Client().get(f"{BASE}/{world.club.slug}/athletes/")

        assert (answer.status_code, answer.json()["code"]) == (401, "not_authenticated")

    def test_a_page_of_another_person_is_told_so(self, world: World, coach: Membership):
        answer = log_in(coach).get(
            f"{BASE}/{world.club.slug}/athletes/",
            headers={"Penult-Member": str(make_member(world.club).id)},
        )

        assert (answer.status_code, answer.json()["code"]) == (403, "other_person")

    @pytest.mark.parametrize("path", ["tokens/", "members/", "audit/"])
    def test_gives_nothing_that_outlasts_it(self, world: World, path: str):
        admin = make_member(world.club, Role.ADMIN)

        answer = log_in(admin).get(f"{BASE}/{world.club.slug}/{path}")

        assert (answer.status_code, answer.json()["code"]) == (403, "missing_scope")


class TestWriting:
    def test_stores_what_a_page_sends(self, world: World, coach: Membership):
        answer = send(browser_of(coach), world, Penult_Member=str(coach.id))

        assert answer.status_code == 201
        with club_scope(world.club):
            attempt = Attempt.objects.select_related("source").get()
            assert attempt.source.membership_id == coach.id

    @pytest.mark.parametrize(
        ("headers", "code"),
        [
            ({}, "not_from_page"),
            ({"Penult_Member": "own", "X_CSRFToken": ""}, "not_from_page"),
            ({"Penult_Member": "own", "X_CSRFToken": "x" * 32}, "not_from_page"),
            ({"Penult_Member": "own", "Origin": "https://elsewhere.example"}, "not_from_page"),
            ({"Penult_Member": "01a216d1-b0e8-75d4-be72-846d56f131e0"}, "other_person"),
        ],
    )
    def test_stores_nothing_that_comes_from_elsewhere(
        self, world: World, coach: Membership, headers: dict[str, str], code: str
    ):
        member = headers.get("Penult_Member")
        named = {"Penult_Member": str(coach.id)} if member == "own" else {}

        answer = send(browser_of(coach), world, **{**headers, **named})

        assert (answer.status_code, answer.json()["code"]) == (403, code)
        with club_scope(world.club):
            assert not Attempt.objects.exists()

    @pytest.mark.parametrize(
        ("kind", "body"),
        [
            ("application/x-www-form-urlencoded", "a=1&" * 3000),
            ("multipart/form-data", "no boundary"),
            ("multipart/form-data; boundary=x", "--x\r\n"),
        ],
    )
    def test_looks_into_no_form(self, world: World, coach: Membership, kind: str, body: str):
        browser = browser_of(coach)

        answer = browser.post(
            f"{BASE}/{world.club.slug}/sessions/{world.session.id}/attempts/",
            body,
            content_type=kind,
            headers={
                "Penult-Member": str(coach.id),
                "X-CSRFToken": browser.cookies["csrftoken"].value,
            },
        )

        assert (answer.status_code, answer.json()["code"]) == (403, "not_from_page")

    def test_a_token_goes_before_the_log_in(self, world: World, coach: Membership):
        browser = browser_of(coach)

        answer = browser.get(
            f"{BASE}/{world.club.slug}/members/",
            headers={"Authorization": f"Bearer {world.tokens['admin']}"},
        )

        assert answer.status_code == 200
