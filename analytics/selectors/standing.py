"""How far series are computed, and their figures."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, LiteralString, TypeVar
from uuid import UUID

import msgspec
from django.db.models import QuerySet

from analytics.models import SeriesPoint, SeriesState
from analytics.selectors.series import Series
from approaches.models import Approach, FinishClass, PendingRefresh
from athletes import selectors as athlete_selectors
from clubs.selectors import Caller
from common import prepared
from common.errors import NotFoundError


class Standing(msgspec.Struct, frozen=True, gc=False):
    """How far a series is computed, and whether newer attempts wait."""

    method: int | None
    as_of: datetime | None
    through_attempt: str | None
    n: int
    figures: str  # the latest figures, as the JSON that is stored
    is_pending: bool

    def is_stale(self, *, method: int) -> bool:
        """Answer whether newer attempts, or a newer method, wait to be computed."""
        return self.is_pending or (self.method is not None and self.method != method)


_STANDING = """
    SELECT s.method, s.computed_at, s.through_attempt_id::text, coalesce(s.n_attempts, 0),
           coalesce(s.figures::text, '{}'),
           EXISTS (SELECT 1 FROM approaches_pendingrefresh AS p
                    WHERE p.club_id = a.club_id AND p.approach_id = a.id AND p.finish_class = %s)
      FROM approaches_approach AS a LEFT JOIN analytics_seriesstate AS s
           ON s.club_id = a.club_id AND s.approach_id = a.id AND s.finish_class = %s
     WHERE a.id = %s
"""


def get_standing_for(caller: Caller, series: Series, *, today: date) -> Standing:
    """Return how a series stands that the caller may see; one never computed stands at nothing.

    Raises
    ------
    NotFoundError
        There is no such approach, or it is a stranger's.
    """
    finish_class = series.finish_class.value
    query: LiteralString = _STANDING
    parameters: tuple[Any, ...] = (finish_class, finish_class, series.approach_id)
    limits = athlete_selectors.find_limits_of(caller, today=today)
    if limits is not None:
        query = f"{query} AND a.athlete_id IN ({limits.query})"
        parameters += limits.parameters
    standing = prepared.find_row(query, parameters, make=Standing)
    if standing is None:
        raise NotFoundError
    return standing


class Point(msgspec.Struct, frozen=True, gc=False):
    """Rolling figures after one attempt."""

    attempt: str
    started_at: datetime
    plan_revision: int | None
    n: int
    n_measured: int
    n_no_jumps: int
    n_on_board: int
    toe_m: float | None
    no_jump: bool
    bias_m: float | None
    bias_low_m: float | None
    bias_high_m: float | None
    spread_m: float | None
    spread_low_m: float | None
    spread_high_m: float | None
    share_on_board: float | None
    share_no_jump: float | None


class RunUpPoint(msgspec.Struct, frozen=True, gc=False):
    """Rolling speed into the board and rhythm of the last steps after one attempt."""

    attempt: str
    started_at: datetime
    plan_revision: int | None
    n: int
    n_speeds: int
    n_speeds_at_gates: int
    speed_11_6_mps: float | None
    speed_6_1_mps: float | None
    speed_6_1_low_mps: float | None
    speed_6_1_high_mps: float | None
    speed_gain_mps: float | None
    speed_gain_low_mps: float | None
    speed_gain_high_mps: float | None
    n_step_lengths: int
    length_ratio_2: float | None
    length_ratio_2_low: float | None
    length_ratio_2_high: float | None
    length_ratio_2_sd: float | None
    length_ratio_1: float | None
    length_ratio_1_low: float | None
    length_ratio_1_high: float | None
    length_ratio_1_sd: float | None
    n_step_times: int
    time_ratio_2: float | None
    time_ratio_2_low: float | None
    time_ratio_2_high: float | None
    time_ratio_1: float | None
    time_ratio_1_low: float | None
    time_ratio_1_high: float | None


# In the order of the fields of each; an id is read quicker as text.
_COLUMNS: Mapping[type[Any], LiteralString] = {
    Point: """
           attempt_id::text, started_at, plan_revision, n, n_measured, n_no_jumps, n_on_board,
           toe_m, no_jump, bias_m, bias_low_m, bias_high_m, spread_m, spread_low_m, spread_high_m,
           share_on_board, share_no_jump
    """,
    RunUpPoint: """
           attempt_id::text, started_at, plan_revision, n, n_speeds, n_speeds_at_gates,
           speed_11_6_mps, speed_6_1_mps, speed_6_1_low_mps, speed_6_1_high_mps, speed_gain_mps,
           speed_gain_low_mps, speed_gain_high_mps, n_step_lengths, length_ratio_2,
           length_ratio_2_low, length_ratio_2_high, length_ratio_2_sd, length_ratio_1,
           length_ratio_1_low, length_ratio_1_high, length_ratio_1_sd, n_step_times, time_ratio_2,
           time_ratio_2_low, time_ratio_2_high, time_ratio_1, time_ratio_1_low, time_ratio_1_high
    """,
}
_OF_SERIES = """
      FROM analytics_seriespoint AS p
     WHERE approach_id = %s AND finish_class = %s
"""
AnyPoint = TypeVar("AnyPoint", Point, RunUpPoint)

# By the column, not by the text that is read of it: so says the index.
_LATEST_FIRST = " ORDER BY p.started_at DESC, p.attempt_id DESC LIMIT %s"


def read_points(
    series: Series, *, last: int, before: UUID | None = None, kind: type[AnyPoint]
) -> list[AnyPoint] | None:
    """Return the `last` points of a series, the latest first, with the figures of one kind.

    With `before`, those before that attempt; None when the series has no point of it.
    """
    points: LiteralString = f"SELECT {_COLUMNS[kind]} {_OF_SERIES}"
    key: tuple[Any, ...] = (series.approach_id, series.finish_class.value)
    if before is None:
        return prepared.read_rows(points + _LATEST_FIRST, (*key, last), make=kind)
    bound = prepared.find_row(points + " AND attempt_id = %s", (*key, before), make=kind)
    if bound is None:
        return None
    return prepared.read_rows(
        points + " AND (started_at, attempt_id) < (%s, %s)" + _LATEST_FIRST,
        (*key, bound.started_at, before, last),
        make=kind,
    )


@dataclass(frozen=True, slots=True)
class SeriesSummary:
    """A series as a person looks at it: its figures after the last computed attempt, what waits."""

    approach_id: UUID
    finish_class: FinishClass
    state: SeriesState | None
    point: SeriesPoint | None
    pending: PendingRefresh | None
    stale: bool


def list_summaries(approaches: QuerySet[Approach], *, method: int) -> list[SeriesSummary]:
    """Return a summary of each series of the approaches, with three queries for all of them."""
    found = approaches.order_by()
    states = {
        (state.approach_id, state.finish_class): state
        for state in SeriesState.objects.filter(approach__in=found).select_related(
            "through_attempt"
        )
    }
    points = {
        (point.approach_id, point.finish_class): point
        for point in SeriesPoint.objects.filter(
            attempt__in=[state.through_attempt_id for state in states.values()]
        )
    }
    waiting = {
        (pending.approach_id, pending.finish_class): pending
        for pending in PendingRefresh.objects.filter(approach__in=found)
    }
    return [
        SeriesSummary(
            approach_id=key[0],
            finish_class=FinishClass(key[1]),
            state=states.get(key),
            point=points.get(key),
            pending=waiting.get(key),
            stale=key in waiting or states[key].method != method,
        )
        for key in sorted(states.keys() | waiting.keys())
    ]
