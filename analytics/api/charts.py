"""Pictures of figures and answers, each beside its numbers."""

from collections.abc import Hashable
from datetime import datetime
from typing import Any

import msgspec
from django.http import HttpResponse

from analytics import selectors
from analytics.answers import length_study as length_answer
from analytics.answers import steering
from analytics.api.conditions import SpeedView, WindTableView
from analytics.api.deciding import OutlookView
from analytics.api.figures import ConsistencyView, SpreadView, TrendView
from analytics.api.lengths import LengthStudyView
from analytics.api.pictures import AnswerPicture, PictureView, pictured, with_look
from analytics.api.run_up import ErrorSharesView, RhythmView, SteeringView
from analytics.charts import (
    error_shares,
    length_study,
    needed_made,
    outlook,
    rhythm,
    speed,
    spread,
    take_off,
    trend,
    wind_table,
)
from analytics.core.rolling import DEFAULT_WINDOW
from analytics.selectors import Point, Series, Standing


class _Window(msgspec.Struct):
    """What a picture says of the attempts that stored figures are made of."""

    n: int
    n_sessions: int
    first_started_at: datetime
    last_started_at: datetime
    aim_m: float


class _Figures(msgspec.Struct):
    window: _Window | None = None


_figures = msgspec.json.Decoder(_Figures)


def _window_of(standing: Standing) -> _Window | None:
    return _figures.decode(standing.figures).window


def _aim_of(standing: Standing) -> float | None:
    window = _window_of(standing)
    return None if window is None else window.aim_m


@pictured
class TrendChart(PictureView, TrendView):
    """The course of bias and spread, with plans that changed and alerts that were opened."""

    operation_names = {"GET": "trend_chart_read"}
    parameters = with_look(TrendView.parameters)

    def read(self, series: Series, standing: Standing) -> dict[str, Any]:
        content = super().read(series, standing)
        points = content["points"]
        return content | {
            "aim_m": _aim_of(standing),
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
class ConsistencyChart(PictureView, ConsistencyView):
    """The take-off map: where the toe came down, run by run, board and line to scale."""

    operation_names = {"GET": "consistency_chart_read"}
    parameters = with_look(ConsistencyView.parameters)

    def read(self, series: Series, standing: Standing) -> dict[str, Any]:
        window = _window_of(standing)
        points = (
            None if window is None else selectors.read_points(series, last=window.n, kind=Point)
        )
        return {"points": (points or [])[::-1], "aim_m": _aim_of(standing)}

    def write(self, content: dict[str, Any]) -> HttpResponse:
        landings = take_off.Landings(
            points=tuple(content["points"]), aim_m=content["aim_m"], is_stale=content["stale"]
        )
        return self.painted(landings, lambda sheet: take_off.draw(sheet, landings))


@pictured
class SpreadChart(PictureView, SpreadView):
    """The spread by footfall, with phases and the onset of steering."""

    operation_names = {"GET": "spread_chart_read"}
    parameters = with_look(SpreadView.parameters)

    def read(self, series: Series, standing: Standing) -> dict[str, Any]:
        # The phases are those of the plan that the last attempt was made under.
        latest = selectors.read_run_ups_for(self.caller, series, last=1, today=self.today)
        return super().read(series, standing) | {
            "phases": steering.phase_starts_of(latest.latest_marks()),
            "window": _window_of(standing),
        }

    def write(self, content: dict[str, Any]) -> HttpResponse:
        figures, window = msgspec.json.encode(content["spread"]), content["window"]
        stored = spread.Stored(
            spread=spread.spread_of(msgspec.json.decode(figures)),
            phases=content["phases"],
            n=0 if window is None else window.n,
            n_sessions=0 if window is None else window.n_sessions,
            started_at=() if window is None else (window.first_started_at, window.last_started_at),
            is_stale=content["stale"],
        )
        key: Hashable = (figures, window, content["phases"], content["stale"])
        return self.painted(key, lambda sheet: spread.draw(sheet, stored))


@pictured
class SteeringChart(AnswerPicture, SteeringView):
    """How much of what is off each step takes back, with how sure that is."""

    operation_names = {"GET": "steering_chart_read"}
    parameters = with_look(SteeringView.parameters)
    draw = staticmethod(needed_made.draw)


@pictured
class ErrorSharesChart(AnswerPicture, ErrorSharesView):
    """What each part of the run-up adds, and what of it is left at the board."""

    operation_names = {"GET": "error_shares_chart_read"}
    parameters = with_look(ErrorSharesView.parameters)
    draw = staticmethod(error_shares.draw)


@pictured
class RhythmChart(AnswerPicture, RhythmView):
    """Lengths and times of the last three steps, against the third-last."""

    operation_names = {"GET": "rhythm_chart_read"}
    parameters = with_look(RhythmView.parameters)
    draw = staticmethod(rhythm.draw)


@pictured
class SpeedChart(AnswerPicture, SpeedView):
    """Speed from gate to gate in each attempt, and the mean of both zones."""

    operation_names = {"GET": "speed_chart_read"}
    parameters = with_look(SpeedView.parameters)
    draw = staticmethod(speed.draw)


@pictured
class WindTableChart(AnswerPicture, WindTableView):
    """How far all marks move for each wind, with how sure that is."""

    operation_names = {"GET": "wind_table_chart_read"}
    parameters = with_look(WindTableView.parameters)
    draw = staticmethod(wind_table.draw)


@pictured
class OutlookChart(AnswerPicture, OutlookView):
    """No jumps, take-offs on the board and short of it, for each place of the mean toe."""

    operation_names = {"GET": "outlook_chart_read"}
    parameters = with_look(OutlookView.parameters)
    draw = staticmethod(outlook.draw)


@pictured
class LengthStudyChart(PictureView, LengthStudyView):
    """Distance against the number of steps, and what the next pair of steps brings."""

    operation_names = {"GET": "length_study_chart_read"}
    parameters = with_look(LengthStudyView.parameters)

    def answered(self) -> HttpResponse:
        attempts, found, key = self.find()
        return self.painted(
            key, lambda sheet: length_study.draw(sheet, attempts, found, length_answer.tell(found))
        )
