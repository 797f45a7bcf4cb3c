"""Every page of a club, those to come included, is for its members alone."""

import pytest
from django.test import Client
from django.urls import URLPattern, reverse

from analytics.pages.urls import urlpatterns
from clubs.models import Role
from tests.admin.scenes import log_in
from tests.factories import (
    make_alert,
    make_attempt,
    make_club,
    make_member,
    make_source,
    make_squad,
)
from tests.pages.conftest import Team

OF_A_CLUB = [
    each
    for each in urlpatterns
    if isinstance(each, URLPattern) and "<slug:club>" in str(each.pattern)
]
NAMES = [str(each.name) for each in OF_A_CLUB]


@pytest.fixture
def addresses(team: Team) -> dict[str, str]:
    """Return each page's address for a row of the club that exists."""
    alert = make_alert(make_attempt(make_source(team.club), team.athlete, team.session))
    own_ids = {
        "athlete_id": team.athlete.id,
        "squad_id": make_squad(team.club).id,
        "session_id": team.session.id,
        "alert_id": alert.id,
    }
    return {
        str(each.name): reverse(
            f"pages:{each.name}",
            kwargs={
                "club": team.club.slug,
                **{name: own_ids[name] for name in each.pattern.converters if name != "club"},
            },
        )
        for each in OF_A_CLUB
    }


@pytest.mark.parametrize("name", NAMES)
def test_a_stranger_of_any_role_finds_nothing(team: Team, addresses: dict[str, str], name: str):
    theirs = make_club()

    for role in Role:
        browser = log_in(make_member(theirs, role))
        answers = [browser.get(addresses[name]), browser.post(addresses[name], {"version": 1})]
        assert [answer.status_code for answer in answers] == [404, 404]
        assert not any(team.athlete.family_name in str(each.content) for each in answers)


@pytest.mark.parametrize("name", NAMES)
def test_nobody_in_particular_is_led_to_the_log_in(addresses: dict[str, str], name: str):
    answer = Client().get(addresses[name])

    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("pages:log_in"))
