"""Where a member of a club begins."""

from datetime import timedelta

from django.http import HttpRequest, HttpResponse

from approaches import selectors as approach_selectors
from approaches.models import SessionKind
from clubs.pages.base import ClubPage

# Sessions that a coach may want on the first page.
_BACK = timedelta(days=14)
_MOST_SESSIONS = 20


class Home(ClubPage):
    """The sessions of these days, each with its board."""

    def get(self, request: HttpRequest, club: str) -> HttpResponse:
        sessions = approach_selectors.list_sessions().filter(held_date__gte=self.today - _BACK)
        return self.shown(
            "analytics/pages/home.html",
            {
                "sessions": sessions.order_by("-held_date", "-id")[:_MOST_SESSIONS],
                "today": self.today,
                "competition": SessionKind.COMPETITION.value,
            },
        )
