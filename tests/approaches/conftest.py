"""A club with one athlete who can be pushed for."""

from dataclasses import dataclass

import pytest

from approaches.models import Approach, Plan, Session
from athletes.models import Athlete
from clubs.models import Club, Source
from tests import factories


@dataclass(frozen=True)
class Scene:
    club: Club
    source: Source
    athlete: Athlete
    approach: Approach
    plan: Plan
    session: Session


def make_scene() -> Scene:
    club = factories.make_club()
    athlete = factories.make_athlete(club)
    approach = factories.make_approach(athlete)
    return Scene(
        club=club,
        source=factories.make_source(club),
        athlete=athlete,
        approach=approach,
        plan=factories.make_plan(approach),
        session=factories.make_session(club),
    )


@pytest.fixture
def scene(db: None) -> Scene:
    return make_scene()
