"""Pictures of figures and answers, each beside its numbers."""

from typing import Any

import msgspec
from django.http import HttpResponse

from analytics import selectors
from analytics.api.figures import TrendView
from analytics.api.pictures import AnswerPicture, PictureView, pictured, with_look
from analytics.api.run_up import SteeringView
from analytics.charts import needed_made, trend
from analytics.core.rolling import DEFAULT_WINDOW
from analytics.selectors import Series, Standing


class _Window(msgspec.Struct):
    aim_m: float


class _Stored(msgspec.Struct):
    window: _Window | None = None


_stored = msgspec.json.Decoder(_Stored)


@pictured
class TrendChart(PictureView, TrendView):
    """The course of bias and spread, with plans that changed and alerts that were opened."""

    operation_names = {"GET": "trend_chart_read"}
    parameters = with_look(TrendView.parameters)

    def read(self, series: Series, standing: Standing) -> dict[str, Any]:
        content = super().read(series, standing)
        points = content["points"]
        window = _stored.decode(standing.figures).window
        return content | {
            "aim_m": None if window is None else window.aim_m,
            "opened": selectors.read_opened_since(series, points[0].started_at) if points else [],
        }

    def write(self, content: dict[str, Any]) -> HttpResponse:
        course = trend.Course(
            points=tuple(content["points"]),
            opened=tuple(trend.Opened(*each) for each in content["opened"]),
            aim_m=content["aim_m"],
            window=DEFAULT_WINDOW,
            is_stale=content["stale"],
        )
        return self.painted(course, lambda sheet: trend.draw(sheet, course))


@pictured
class SteeringChart(AnswerPicture, SteeringView):
    """How much of what is off each step takes back, with how sure that is."""

    operation_names = {"GET": "steering_chart_read"}
    parameters = with_look(SteeringView.parameters)
    draw = staticmethod(needed_made.draw)
