"""A coach's browser, without a browser: Django's client."""

from dataclasses import dataclass
from datetime import date

import pytest
from django.test import Client

from approaches.models import Approach, Session, SessionKind
from athletes.models import Athlete, CoachAssignment
from clubs.models import Club, Membership, Role
from common.club_scope import club_scope
from tests.admin.scenes import log_in
from tests.conftest import Keep
from tests.factories import (
    make_approach,
    make_athlete,
    make_club,
    make_member,
    make_plan,
    make_session,
)


@dataclass(frozen=True)
class Team:
    """A coach with one athlete in charge, and a competition; a stranger besides."""

    club: Club
    coach: Membership
    athlete: Athlete
    approach: Approach
    stranger: Athlete
    strange_approach: Approach
    session: Session

    @property
    def base(self) -> str:
        return f"/pages/clubs/{self.club.slug}/"

    @property
    def board(self) -> str:
        return f"{self.base}sessions/{self.session.id}/board/"

    def browser(self) -> Client:
        return log_in(self.coach)


def make_team() -> Team:
    club = make_club(name="Club of ours")
    coach = make_member(club, Role.COACH)
    athlete = make_athlete(club, given_name="Mira", family_name="Ostwiek")
    stranger = make_athlete(club, given_name="Lena", family_name="Torbach")
    approaches = [make_approach(each) for each in (athlete, stranger)]
    make_plan(approaches[0])
    with club_scope(club):
        CoachAssignment.objects.create(
            club=club, coach=coach, athlete=athlete, from_date=date(2026, 1, 1)
        )
    session = make_session(club, kind=SessionKind.COMPETITION, code="open-day", field_size=11)
    return Team(club, coach, athlete, approaches[0], stranger, approaches[1], session)


@pytest.fixture(scope="module")
def kept_team(keep: Keep[Team]) -> Team:
    return keep(make_team)


@pytest.fixture
def team(kept_team: Team, db: None) -> Team:
    return kept_team
