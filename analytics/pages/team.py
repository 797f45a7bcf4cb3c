"""Who needs the coach, and which sessions there are: the first page, a squad, all athletes."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from analytics import selectors
from analytics.answers import overview, overview_words
from analytics.answers.overview_words import Overview, Row
from analytics.services.method import METHOD
from approaches import selectors as approach_selectors
from athletes import selectors as athlete_selectors
from athletes.models import Athlete
from clubs import selectors as club_selectors
from clubs.models import Role
from clubs.pages.base import PEOPLE, ClubPage

# Sessions on the first page, those ahead included.
_MOST_SESSIONS = 12


@dataclass(frozen=True, slots=True)
class Watched:
    """An athlete with what the overview says."""

    athlete: Athlete
    row: Row

    @property
    def urgency(self) -> str:
        """Return the urgency as a style has it; "" without any."""
        return "" if self.row.urgency is None else self.row.urgency.value


def look_over(page: ClubPage, *, squad_id: UUID | None = None) -> tuple[Overview, list[Watched]]:
    """Return the overview of the athletes whom the caller may see, with their names."""
    facts = selectors.read_squad_for(
        page.caller,
        squad_id=squad_id,
        days_ahead=overview.DAYS_AHEAD,
        method=METHOD,
        today=page.today,
    )
    said = overview_words.tell_all(overview.look_over(facts, today=page.today))
    seen = athlete_selectors.list_athletes_for(page.caller, today=page.today)
    athletes = seen.in_bulk([row.athlete for row in said.results])
    return said, [Watched(athletes[row.athlete], row) for row in said.results]


class Home(ClubPage):
    """Where a member begins: a coach with who needs them, an athlete with themselves."""

    roles = PEOPLE

    def get(self, request: HttpRequest, club: str) -> HttpResponse:
        if self.caller.role == Role.ATHLETE:
            own = athlete_selectors.find_own_athlete(self.caller)
            if own is None:
                return self.shown("analytics/pages/no_athlete.html", {})
            return redirect("pages:athlete", club, own.id)
        said, watched = look_over(self)
        listed = approach_selectors.list_sessions().order_by("-held_date", "-id")
        sessions = list(listed[:_MOST_SESSIONS])
        squads = athlete_selectors.list_squads_for(self.caller, today=self.today)
        return self.shown(
            "analytics/pages/home.html",
            {
                "said": said,
                "needed": [each for each in watched if each.row.urgency is not None],
                "squads": squads.order_by("name"),
                # Who stands at the pit looks for no other.
                "of_today": [each for each in sessions if each.held_date == self.today],
                "sessions": sessions,
                "today": self.today,
            },
        )


class Team(ClubPage):
    """All athletes of the caller, or those of a squad, each with what there is to see to."""

    def get(self, request: HttpRequest, club: str, squad_id: UUID | None = None) -> HttpResponse:
        squad = None if squad_id is None else club_selectors.get_squad(squad_id)
        said, watched = look_over(self, squad_id=squad_id)
        content: dict[str, Any] = {"squad": squad, "said": said, "watched": watched}
        return self.shown("analytics/pages/team.html", content)
