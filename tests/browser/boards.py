"""A board of a competition, and who looks at it."""

from dataclasses import dataclass
from datetime import date

from django.urls import reverse

from approaches.models import Approach, Attempt, Session, SessionKind
from athletes.models import Athlete, CoachAssignment
from clubs.models import Club, Membership, Role
from common.club_scope import club_scope
from tests.admin.scenes import PASSWORD
from tests.browser.window import Window
from tests.factories import make_approach, make_athlete, make_member, make_plan, make_session


@dataclass
class Board:
    """The board of a competition with one athlete on it, and its coach."""

    club: Club
    coach: Membership
    athlete: Athlete
    approach: Approach
    session: Session

    @property
    def address(self) -> str:
        path = reverse("pages:board", args=[self.club.slug, self.session.id])
        return f"{path}?approach={self.approach.id}"

    def stored(self) -> list[Attempt]:
        with club_scope(self.club):
            return list(Attempt.objects.order_by("started_at"))


def make_board(club: Club) -> Board:
    coach = make_member(club, Role.COACH, email="coach@example.org", password=PASSWORD)
    athlete = make_athlete(club, given_name="Mira", family_name="Ostwiek")
    approach = make_approach(athlete)
    make_plan(approach)
    with club_scope(club):
        CoachAssignment.objects.create(
            club=club, coach=coach, athlete=athlete, from_date=date(2026, 1, 1)
        )
    session = make_session(club, kind=SessionKind.COMPETITION, code="open-day", field_size=11)
    return Board(club, coach, athlete, approach, session)


def log_in(window: Window, email: str, address: str) -> None:
    window.open(address)
    window.page.get_by_label("E-mail").fill(email)
    window.page.get_by_label("Password").fill(PASSWORD)
    window.press("Log in")
