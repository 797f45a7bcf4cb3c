"""An athlete's page, for coaches and for the athlete's own log-in, and the door for alerts."""

import re
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from analytics import selectors
from analytics.answers import alert_words
from analytics.cards import figures
from analytics.cards.figures import InWords
from analytics.core import conventions, rolling
from analytics.models import Alert
from analytics.pages.team import look_over
from analytics.services import attending
from analytics.services.method import METHOD
from approaches import selectors as approach_selectors
from approaches.models import Approach, FinishClass, Plan
from athletes import selectors as athlete_selectors
from athletes.models import Athlete
from clubs.pages.base import PEOPLE, STAFF, ClubPage
from common.errors import DomainError, NotFoundError
from common.versions import Expected

_VERSION = re.compile(r"[0-9]{1,9}")
# Pictures of jumps, below the addresses of their numbers: those that stand on the page at once, and
# those that are loaded when somebody wants to know more.
_PICTURES = (
    ("trend", "Where the toe lands, and how much it spreads"),
    ("steering", "Which steps take back what is off"),
)
_MORE_PICTURES = (
    ("consistency", "Where the toe came down, run by run"),
    ("spread", "Where on the run-up the footfalls spread"),
    ("error-shares", "Which part of the run-up adds most"),
    ("rhythm", "The last steps, in length and in time"),
    ("speed", "Speed into the board"),
    ("wind-table", "How far the marks move for the wind"),
    ("outlook", "What the next attempts will do at the board"),
    ("length-study", "What more steps brought"),
)


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture of a run-up, by its address."""

    title: str
    address: str


@dataclass(frozen=True, slots=True)
class RunUp:
    """A run-up as it stands."""

    approach: Approach
    plan: Plan | None
    series: list[InWords]
    pictures: list[Picture]
    more_pictures: list[Picture]
    card: str
    layout: str


class AthletePage(ClubPage):
    """What calls for somebody, the latest figures and pictures, and the card to print."""

    roles = PEOPLE

    def get(self, request: HttpRequest, club: str, athlete_id: UUID) -> HttpResponse:
        athlete = athlete_selectors.get_athlete_for(self.caller, athlete_id, today=self.today)
        _said, watched = look_over(self)
        alerts = (
            selectors.list_alerts_for(self.caller, today=self.today)
            .filter(approach__athlete=athlete, closed_at=None)
            .order_by("-opened_at", "-id")
        )
        return self.shown(
            "analytics/pages/athlete.html",
            {
                "athlete": athlete,
                "is_staff": self.caller.role in STAFF,
                "row": next((each.row for each in watched if each.athlete == athlete), None),
                "alerts": [self._alert(each) for each in alerts],
                "run_ups": _run_ups(club, athlete),
                "season": reverse("season-paper", kwargs={"club": club, "athlete_id": athlete.id}),
                "window": rolling.DEFAULT_WINDOW,
                "level": f"{conventions.DEFAULT_LEVEL:.0%}",
            },
        )

    def _alert(self, alert: Alert) -> dict[str, Any]:
        put_off = alert.put_off_until_date
        return {
            "alert": alert,
            "found": alert_words.say_found(alert.kind, alert.evidence),
            "ground": alert_words.say_ground(alert.kind, alert.evidence),
            "put_off_until": put_off if put_off is not None and put_off > self.today else None,
        }


def _run_ups(club: str, athlete: Athlete) -> list[RunUp]:
    approaches = Approach.objects.filter(athlete=athlete, archived_at=None)
    plans = {
        plan.approach_id: plan
        for plan in approach_selectors.list_plans_in_force(approaches, timezone.now())
    }
    series: dict[UUID, list[InWords]] = {}
    for summary in selectors.list_summaries(approaches, method=METHOD):
        series.setdefault(summary.approach_id, []).append(figures.in_words(summary))
    return [
        RunUp(
            approach=approach,
            plan=plans.get(approach.id),
            series=series.get(approach.id, []),
            pictures=_pictures(_PICTURES, club, approach, series.get(approach.id, [])),
            more_pictures=_pictures(_MORE_PICTURES, club, approach, series.get(approach.id, [])),
            card=_address("card", club, approach),
            layout=_address("last-steps-layout-paper", club, approach),
        )
        for approach in approaches.order_by("code")
    ]


def _pictures(
    chosen: tuple[tuple[str, str], ...], club: str, approach: Approach, series: list[InWords]
) -> list[Picture]:
    """Return pictures of a run-up that was jumped from; before that they would say nothing."""
    jumped = any(
        each.summary.finish_class is FinishClass.JUMP and each.summary.point is not None
        for each in series
    )
    if not jumped:
        return []
    return [Picture(title, f"{_address(name, club, approach)}/chart") for name, title in chosen]


def _address(name: str, club: str, approach: Approach) -> str:
    return reverse(name, kwargs={"club": club, "approach_id": approach.id})


class AlertDoor(ClubPage):
    """Takes that a coach has seen an alert, or takes it back, and leads back to the athlete."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, club: str, alert_id: UUID) -> HttpResponse:
        alert = selectors.get_alert_for(self.caller, alert_id, today=self.today)
        version = request.POST.get("version", "")
        if not _VERSION.fullmatch(version):
            raise NotFoundError
        seen = request.POST.get("acknowledged") == "true"
        try:
            attending.attend_to_alert(
                club=self.caller.club,
                alert_id=alert.id,
                expected=Expected(frozenset({int(version)})),
                changes={"acknowledged": seen},
                today=self.today,
                caller=self.caller,
            )
        except DomainError as refusal:
            messages.error(request, f"{refusal.title}. Nothing was changed; look at it again.")
        else:
            messages.success(request, "Marked as seen." if seen else "Marked as not seen.")
        return redirect("pages:athlete", club, alert.approach.athlete_id)
