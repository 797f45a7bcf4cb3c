"""What a season brought."""

from datetime import date, timedelta
from uuid import UUID

from django.http import HttpResponse
from django.utils.dateparse import parse_date
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request

from analytics.api import report_serializers as serializers
from analytics.api.asked import LANGUAGE, AskedView
from analytics.services import seasons
from common.api.errors import InvalidParameterError

# A year, and some weeks for a season that began early.
MOST_DAYS = 400
USUAL_DAYS = 365

PERIOD = [
    OpenApiParameter(
        "from", date, description=f"First day; without it, {USUAL_DAYS} days that end with `to`."
    ),
    OpenApiParameter("to", date, description="Last day; without it, today."),
]


class PeriodView(AskedView):
    """A view of a stretch of days."""

    parameters = {"GET": frozenset({"from", "to"})}

    def period(self) -> tuple[date, date]:
        """Return the first and the last day that were asked about."""
        to_date = self._day("to") or self.today
        from_date = self._day("from") or to_date - timedelta(days=USUAL_DAYS - 1)
        if not from_date <= to_date < from_date + timedelta(days=MOST_DAYS):
            raise InvalidParameterError(
                f"from is no later than to, and at most {MOST_DAYS} days are told of."
            )
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
