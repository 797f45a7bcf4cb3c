"""Figures of a series, and their course."""

import re
from abc import ABC, abstractmethod
from typing import Any
from uuid import UUID

import msgspec
from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request

from analytics import selectors
from analytics.api import answers, serializers
from analytics.core import accuracy, censored, spread
from analytics.core.conventions import NotEnoughAttempts
from analytics.selectors import Series, Standing
from analytics.services import figures
from approaches.models import FinishClass
from clubs.api import permissions
from clubs.api.base import ClubView
from common import waiting
from common.api.errors import InvalidParameterError
from common.api.preferences import LONGEST_WAIT_S, preferred_wait

DEFAULT_POINTS = 100
MOST_POINTS = 500
_WHOLE = re.compile(r"[0-9]{1,9}")

FINISH = OpenApiParameter(
    "finish",
    enum=FinishClass.values,
    default=FinishClass.JUMP.value,
    description="Which series: jumps with pop-ups, or run-throughs.",
)
_PREFER = OpenApiParameter(
    "Prefer",
    str,
    OpenApiParameter.HEADER,
    description=(
        f"`wait=2`: while newer attempts wait to be computed, wait up to 2 seconds for them (at "
        f"most {LONGEST_WAIT_S}). Few may wait at once; `Preference-Applied` says who did."
    ),
)
_EVERY = [FINISH, _PREFER]
# What stands for each figure before the first refresh of a series.
_NONE_YET = {
    "accuracy": NotEnoughAttempts(n=0, needed=accuracy.MIN_MEASURED),
    "censored": NotEnoughAttempts(n=0, needed=censored.MIN_MEASURED),
    "change": NotEnoughAttempts(n=0, needed=figures.TWO_BLOCKS),
    "spread": NotEnoughAttempts(n=0, needed=spread.MIN_ATTEMPTS),
}
_stored_figures = msgspec.json.Decoder(dict[str, msgspec.Raw])


def asked_series(view: ClubView) -> Series:
    """Return the series that a request asks about."""
    given = view.request.query_params.get("finish", FinishClass.JUMP.value)
    if given not in FinishClass.values:
        raise InvalidParameterError(f"finish is one of {', '.join(FinishClass.values)}.")
    return Series(view.kwargs["approach_id"], FinishClass(given))


class FiguresView(ClubView, ABC):
    """A view of one series of an approach."""

    rights = {"GET": permissions.READ_ANALYTICS}
    parameters = {"GET": frozenset({"finish"})}

    @abstractmethod
    def read(self, series: Series, standing: Standing) -> dict[str, Any]:
        """Return the figures of a series that the caller may see."""

    def answered(self) -> HttpResponse:
        """Answer with the figures; wait for fresher ones if the client prefers that."""
        series = asked_series(self)
        content = self._read(series)
        wait_s = preferred_wait(self.request._request)
        was_applied = wait_s is not None
        if wait_s and content["stale"]:
            with waiting.seat() as was_applied:
                if was_applied:
                    content = self._read_when_fresh(series, content, wait_s)
        response = self.write(content)
        if was_applied:
            response["Preference-Applied"] = f"wait={wait_s}"
        return response

    def write(self, content: dict[str, Any]) -> HttpResponse:
        """Return the figures in the form in which this view answers."""
        return answers.answer_with(content)

    def _read_when_fresh(
        self, series: Series, content: dict[str, Any], wait_s: float
    ) -> dict[str, Any]:
        """Return the figures once nothing newer waits, or as they are when the time is over."""
        self.leave_scope()
        for _ in waiting.pauses(wait_s):
            with self.scope():
                content = self._read(series)
            if not content["stale"]:
                break
        return content

    def _read(self, series: Series) -> dict[str, Any]:
        standing = selectors.get_standing_for(self.caller, series, today=self.today)
        return answers.head_of(series, standing) | self.read(series, standing)


def _over_latest_window(standing: Standing, *names: str) -> dict[str, Any]:
    """Return the named figures as they are stored, with the attempts that they are made of."""
    stored = _stored_figures.decode(standing.figures)
    return {
        "window": stored.get("window"),
        **{name: stored.get(name) or figures.as_json(_NONE_YET[name]) for name in names},
    }


class ConsistencyView(FiguresView):
    """How close to the aim an athlete lands at the board, how steadily, and what has changed.

    Over the last attempts of the current plan revision, see `window`. `accuracy` is of measured
    toes; `censored` counts no jumps without a measured toe as what they are, and is the one to
    trust when there are some. `change` compares the last block of attempts with the block before.
    """

    operation_names = {"GET": "consistency_read"}
    serializer_class = serializers.ConsistencySerializer

    @extend_schema(parameters=_EVERY, responses=serializers.ConsistencySerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()

    def read(self, series: Series, standing: Standing) -> dict[str, Any]:
        return _over_latest_window(standing, "accuracy", "censored", "change")


class SpreadView(FiguresView):
    """How the spread of the footfalls grows and shrinks on the run-up, and where steering starts.

    Over the last attempts of the current plan revision, see `window`.
    """

    operation_names = {"GET": "spread_read"}
    serializer_class = serializers.SpreadSerializer

    @extend_schema(parameters=_EVERY, responses=serializers.SpreadSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()

    def read(self, series: Series, standing: Standing) -> dict[str, Any]:
        return _over_latest_window(standing, "spread")


_OF_POINTS = [
    *_EVERY,
    OpenApiParameter(
        "last",
        {"type": "integer", "minimum": 1, "maximum": MOST_POINTS},
        default=DEFAULT_POINTS,
        description="How many points.",
    ),
    OpenApiParameter("before", UUID, description="Only points before this attempt's."),
]


class PointsView(FiguresView, ABC):
    """A view of the points of a series."""

    parameters = {"GET": frozenset({"finish", "last", "before"})}

    def read_points(self, series: Series, kind: type[selectors.AnyPoint]) -> dict[str, Any]:
        """Return the points that were asked for, in order."""
        last = self._last()
        points = selectors.read_points(series, last=last + 1, before=self._before(), kind=kind)
        if points is None:
            raise InvalidParameterError("before is an attempt of this series.")
        return {"has_earlier": len(points) > last, "points": points[:last][::-1]}

    def _last(self) -> int:
        given = self.request.query_params.get("last", str(DEFAULT_POINTS))
        if not _WHOLE.fullmatch(given) or not 1 <= int(given) <= MOST_POINTS:
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


class TrendView(PointsView):
    """Rolling figures after each attempt, in order; each point looks back only."""

    operation_names = {"GET": "trend_read"}
    serializer_class = serializers.TrendSerializer

    @extend_schema(parameters=_OF_POINTS, responses=serializers.TrendSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()

    def read(self, series: Series, standing: Standing) -> dict[str, Any]:
        return self.read_points(series, selectors.Point)


class RunUpTrendView(PointsView):
    """Rolling speed into the board and rhythm of the last steps after each attempt, in order.

    Each point looks back only, over the attempts of one plan revision. A speed at a place without
    a gate is interpolated from the gates around it.
    """

    operation_names = {"GET": "run_up_trend_read"}
    serializer_class = serializers.RunUpTrendSerializer

    @extend_schema(parameters=_OF_POINTS, responses=serializers.RunUpTrendSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()

    def read(self, series: Series, standing: Standing) -> dict[str, Any]:
        return self.read_points(series, selectors.RunUpPoint)
