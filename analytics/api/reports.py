"""What a season brought."""

from datetime import date, timedelta
from uuid import UUID

from django.http import HttpResponse
from django.utils.dateparse import parse_date
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework.request import Request

from analytics import selectors
from analytics.api import report_serializers as serializers
from analytics.api.asked import LANGUAGE, AskedView
from analytics.api.work import AskingView, asking
from analytics.models import WorkKind
from analytics.services import seasons, working
from clubs import selectors as club_selectors
from common.api.errors import InvalidParameterError
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError, NotFoundError

# A year, and some weeks for a season that began early.
MOST_DAYS = 400
USUAL_DAYS = 365

PERIOD = [
    OpenApiParameter(
        "from", date, description=f"First day; without it, {USUAL_DAYS} days that end with `to`."
    ),
    OpenApiParameter("to", date, description="Last day; without it, today."),
]


_NO_SEASON = f"{{first}} is no later than {{last}}, and at most {MOST_DAYS} days are told of."


def is_season(from_date: date, to_date: date) -> bool:
    """Tell whether a report may be about these days, both included."""
    return from_date <= to_date < from_date + timedelta(days=MOST_DAYS)


class PeriodView(AskedView):
    """A view of a stretch of days."""

    parameters = {"GET": frozenset({"from", "to"})}

    def period(self) -> tuple[date, date]:
        """Return the first and the last day that were asked about."""
        to_date = self._day("to") or self.today
        from_date = self._day("from") or to_date - timedelta(days=USUAL_DAYS - 1)
        if not is_season(from_date, to_date):
            raise InvalidParameterError(_NO_SEASON.format(first="from", last="to"))
        return from_date, to_date

    def _day(self, name: str) -> date | None:
        given = self.request.query_params.get(name)
        if given is None:
            return None
        try:
            day = parse_date(given)
        except ValueError:
            day = None
        # Counting back from the first days of the calendar would leave it.
        if day is None or not date(1900, 1, 1) <= day <= date(2200, 1, 1):
            raise InvalidParameterError(f"{name} is a day, such as 2026-05-02.")
        return day


class AthleteSeasonView(PeriodView):
    """What a season brought to one athlete: plans, the board, speed, competitions, what is next.

    A change is called one only where it is shown. What the season does not tell stands in
    `unknown`, with the reason. Nothing compares the athlete with others.
    """

    operation_names = {"GET": "season_report_read"}
    serializer_class = serializers.SeasonReportSerializer

    @extend_schema(parameters=[*PERIOD, LANGUAGE], responses=serializers.SeasonReportSerializer)
    def get(self, request: Request, club: str, athlete_id: UUID) -> HttpResponse:
        from_date, to_date = self.period()
        return self.worded(
            lambda: seasons.report_on(
                self.caller, athlete_id, from_date=from_date, to_date=to_date, today=self.today
            )
        )


class SquadSeasonView(AskingView):
    """What a season brought to a squad: each athlete in few figures, and what is usual among them.

    Of those who were in the squad on a day of the season and whom the caller may see today. Bias
    and spread are drawn toward the squad's, the more so the fewer attempts there are; nobody is
    ranked. It takes about a tenth of a second for each athlete, so that a worker does it.
    """

    operation_names = {"POST": "squad_season_ask"}

    @asking(
        request=serializers.SquadSeasonAskedSerializer,
        examples=[
            OpenApiExample(
                "A season from autumn to summer",
                value={"from_date": "2025-10-01", "to_date": "2026-09-30"},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str, squad_id: UUID) -> HttpResponse:
        body = serializers.SquadSeasonAskedSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        from_date, to_date = self._season(body.validated_data)
        with club_scope(self.caller.club):
            squad = club_selectors.get_squad(squad_id)
            athletes = selectors.list_season_athletes_for(
                self.caller, squad.id, from_date=from_date, to_date=to_date, today=self.today
            )
            if not athletes:
                raise NotFoundError  # there is nobody whom the caller may be told about
            work = working.ask(
                club=self.caller.club,
                kind=WorkKind.SQUAD_SEASON,
                asked={
                    "squad": str(squad.id),
                    "athletes": [str(each.id) for each in athletes],
                    "from_date": from_date.isoformat(),
                    "to_date": to_date.isoformat(),
                },
                athlete_ids=[each.id for each in athletes],
                caller=self.caller,
            )
        return self.asked_for(work)

    def _season(self, asked: dict[str, date]) -> tuple[date, date]:
        to_date = asked.get("to_date") or self.today
        from_date = asked.get("from_date") or to_date - timedelta(days=USUAL_DAYS - 1)
        if not is_season(from_date, to_date):
            text = _NO_SEASON.format(first="from_date", last="to_date")
            raise InvalidInputError(faults=[Fault("/from_date", "no_season", text)])
        return from_date, to_date
