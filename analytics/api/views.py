"""Figures of a series, their course, and alerts."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from analytics import selectors
from analytics.api import answers, filters, serializers
from analytics.core import accuracy, censored, spread
from analytics.core.conventions import NotEnoughAttempts
from analytics.selectors import POINT_FIELDS, Series
from analytics.services import figures
from analytics.services.method import METHOD
from approaches.api.views import ApproachView
from approaches.models import FinishClass
from clubs.api import permissions
from clubs.api.base import ClubList, ClubView
from common.api.errors import InvalidParameterError
from common.api.pagination import BoundCursorPagination

DEFAULT_POINTS = 100
MOST_POINTS = 500

_FINISH = OpenApiParameter(
    "finish",
    enum=FinishClass.values,
    default=FinishClass.JUMP.value,
    description="Which series: jumps with pop-ups, or run-throughs.",
)
# What stands for each figure before the first refresh of a series.
_NONE_YET = {
    "accuracy": NotEnoughAttempts(n=0, needed=accuracy.MIN_MEASURED),
    "censored": NotEnoughAttempts(n=0, needed=censored.MIN_MEASURED),
    "change": NotEnoughAttempts(n=0, needed=figures.TWO_BLOCKS),
    "spread": NotEnoughAttempts(n=0, needed=spread.MIN_ATTEMPTS),
}


class FiguresView(ApproachView):
    """A view of one series of an approach."""

    rights = {"GET": permissions.READ_ANALYTICS}
    parameters = {"GET": frozenset({"finish"})}

    def get_series(self) -> Series:
        given = self.request.query_params.get("finish", FinishClass.JUMP.value)
        if given not in FinishClass.values:
            raise InvalidParameterError(f"finish is one of {', '.join(FinishClass.values)}.")
        return Series(self.get_approach().id, FinishClass(given))

    def answer_latest(self, request: Request, *names: str) -> HttpResponse:
        """Answer the named figures over the latest window."""
        series = self.get_series()
        state = selectors.find_state(series)
        stored = {} if state is None else state.figures
        return answers.answer_with(
            request,
            {
                **answers.head_of(
                    series, state, stale=selectors.is_stale(series, state, method=METHOD)
                ),
                "window": stored.get("window"),
                **{name: stored.get(name, figures.as_json(_NONE_YET[name])) for name in names},
            },
        )


class ConsistencyView(FiguresView):
    """How close to the aim an athlete lands at the board, how steadily, and what has changed.

    Over the last attempts of the current plan revision, see `window`. `accuracy` is of measured
    toes; `censored` counts no jumps without a measured toe as what they are, and is the one to
    trust when there are some. `change` compares the last block of attempts with the block before.
    """

    operation_names = {"GET": "consistency_read"}
    serializer_class = serializers.ConsistencySerializer

    @extend_schema(parameters=[_FINISH], responses=serializers.ConsistencySerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answer_latest(request, "accuracy", "censored", "change")


class SpreadView(FiguresView):
    """How the spread of the footfalls grows and shrinks on the run-up, and where steering starts.

    Over the last attempts of the current plan revision, see `window`.
    """

    operation_names = {"GET": "spread_read"}
    serializer_class = serializers.SpreadSerializer

    @extend_schema(parameters=[_FINISH], responses=serializers.SpreadSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answer_latest(request, "spread")


class TrendView(FiguresView):
    """Rolling figures after each attempt, in order; each point looks back only."""

    parameters = {"GET": frozenset({"finish", "last", "before"})}
    operation_names = {"GET": "trend_read"}
    serializer_class = serializers.TrendSerializer

    @extend_schema(
        parameters=[
            _FINISH,
            OpenApiParameter(
                "last",
                {"type": "integer", "minimum": 1, "maximum": MOST_POINTS},
                default=DEFAULT_POINTS,
                description="How many points.",
            ),
            OpenApiParameter("before", UUID, description="Only points before this attempt's."),
        ],
        responses=serializers.TrendSerializer,
    )
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        last, before = self._last(), self._before()
        series = self.get_series()
        state = selectors.find_state(series)
        points = selectors.read_points(series, last=last + 1, before=before)
        if points is None:
            raise InvalidParameterError("before is an attempt of this series.")
        return answers.answer_with(
            request,
            {
                **answers.head_of(
                    series, state, stale=selectors.is_stale(series, state, method=METHOD)
                ),
                "has_earlier": len(points) > last,
                "points": [
                    dict(zip(POINT_FIELDS, point, strict=True)) for point in points[:last][::-1]
                ],
            },
        )

    def _last(self) -> int:
        given = self.request.query_params.get("last", str(DEFAULT_POINTS))
        if not given.isascii() or not given.isdigit() or not 1 <= int(given[:9]) <= MOST_POINTS:
            raise InvalidParameterError(f"last is 1 to {MOST_POINTS}.")
        return int(given)

    def _before(self) -> UUID | None:
        given = self.request.query_params.get("before")
        if given is None:
            return None
        try:
            return UUID(given)
        except ValueError as error:
            raise InvalidParameterError("before is the id of an attempt.") from error


class LatestFirst(BoundCursorPagination):
    ordering = ("-opened_at", "-id")  # type: ignore[assignment]  # any number of fields


class AlertList(ClubList):
    """What coaches should see of the athletes that the caller may see, the latest first."""

    rights = {"GET": permissions.READ_ANALYTICS}
    operation_names = {"GET": "alerts_list"}
    serializer_class = serializers.AlertSerializer
    filterset_class = filters.AlertFilter
    pagination_class = LatestFirst

    def rows(self) -> QuerySet[Any]:
        return selectors.list_alerts_for(self.caller, today=self.today)

    @extend_schema(responses=serializers.AlertSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        response = self.listed()
        response["Cache-Control"] = "private, no-cache"
        return response


class AlertDetail(ClubView):
    """One alert with its evidence."""

    rights = {"GET": permissions.READ_ANALYTICS}
    operation_names = {"GET": "alerts_read"}
    serializer_class = serializers.AlertSerializer

    def get(self, request: Request, club: str, alert_id: UUID) -> HttpResponse:
        alert = selectors.get_alert_for(self.caller, alert_id, today=self.today)
        return answers.answer_with(request, serializers.AlertSerializer(alert).data)
