"""The points of a series: its rolling figures as they stood after each attempt.

They are worked out as columns and written as columns. Made as one model for each attempt, the
forty figures of a point took a millisecond of the processor, nine tenths of the whole refresh;
now it is a tenth of that. After an import, or when workers come back to much that waits, this is
most of the time until figures are up to date.
"""

from collections.abc import Mapping
from dataclasses import fields
from datetime import datetime
from typing import Any

import numpy as np
import numpy.typing as npt
from django.db import models

from analytics import selectors
from analytics.core import rolling, rolling_run_up
from analytics.core.rolling_run_up import RollingRunUp
from analytics.models import SeriesPoint, SeriesState
from analytics.selectors import LastMetres, Series, SeriesAttempts
from analytics.services.figures import WINDOW
from clubs.models import Club
from common import prepared

Columns = Mapping[str, npt.NDArray[Any]]

# So many points are written by one statement.
_AT_ONCE = 5_000

_MEASURES = [each.name for each in SeriesPoint._meta.fields if isinstance(each, models.FloatField)]
_COUNTS = [
    each.name for each in SeriesPoint._meta.fields if isinstance(each, models.PositiveIntegerField)
]
_NAMES = ["attempt_id", "started_at", "no_jump", *_COUNTS, *_MEASURES]
_TYPES = ["uuid", "timestamptz", "bool", *["int4"] * len(_COUNTS), *["float8"] * len(_MEASURES)]
# Arrays know no gaps but these: no figure is NaN, and the first plan revision is 1.
_GAPS = {"plan_revision": "0"} | dict.fromkeys(_MEASURES, "'NaN'")
_FIGURES = [f"NULLIF({name}, {_GAPS[name]})" if name in _GAPS else name for name in _NAMES]
_INSERT = f"""
    INSERT INTO analytics_seriespoint (club_id, approach_id, finish_class, {", ".join(_NAMES)})
    SELECT %s, %s, %s, {", ".join(_FIGURES)}
      FROM unnest({", ".join(f"%s::{each}[]" for each in _TYPES)}) AS made ({", ".join(_NAMES)})
"""


def renew_points(club: Club, series: Series, state: SeriesState, *, since: datetime | None) -> None:
    """Make the points of every attempt from `since` on anew; None means all.

    Call it in the club's scope with the state of the series locked; it notes there how far the
    points go, and leaves it to the caller to save that.
    """
    attempts, last_metres = selectors.read_series_with_last_metres(
        series, since=since, before_that=WINDOW - 1
    )
    start = 0
    if since is not None:
        start = next(
            (place for place, at in enumerate(attempts.started_at) if at >= since), len(attempts)
        )
    old = SeriesPoint.objects.filter(
        approach_id=series.approach_id, finish_class=series.finish_class
    )
    removed, _ = (old if since is None else old.filter(started_at__gte=since)).delete()
    columns = _work_out(attempts, last_metres)
    for first in range(start, len(attempts), _AT_ONCE):
        _write(club, series, attempts, columns, slice(first, first + _AT_ONCE))
    made = len(attempts) - start
    state.n_attempts = made + (0 if since is None else state.n_attempts - removed)
    state.through_attempt_id = attempts.ids[-1] if attempts.ids else None


def _work_out(attempts: SeriesAttempts, last_metres: LastMetres) -> Columns:
    """Return the figures after each attempt, by the names that points have for them."""
    moved = rolling.rolling_figures(
        attempts.board_toe_m,
        attempts.no_jump,
        aim_m=attempts.aim_m,
        revision=attempts.revisions,
        window=WINDOW,
    )
    run_up = rolling_run_up.rolling_run_up(
        last_metres.toe_m,
        last_metres.touchdown_s,
        last_metres.gate_at_m,
        last_metres.gate_time_s,
        revision=attempts.revisions,
        window=WINDOW,
    )
    return {
        "plan_revision": attempts.revisions,
        "n": moved.n,
        "n_measured": moved.n_measured,
        "n_no_jumps": moved.n_no_jumps,
        "n_on_board": moved.n_on_board,
        "toe_m": attempts.board_toe_m,
        "no_jump": attempts.no_jump | (attempts.board_toe_m < 0),
        "bias_m": moved.bias_m,
        "bias_low_m": moved.bias_low_m,
        "bias_high_m": moved.bias_high_m,
        "spread_m": moved.sd_m,
        "spread_low_m": moved.sd_low_m,
        "spread_high_m": moved.sd_high_m,
        "share_on_board": moved.share_on_board,
        "share_no_jump": moved.share_no_jump,
        **{field.name: getattr(run_up, field.name) for field in fields(RollingRunUp)},
    }


def _write(
    club: Club, series: Series, attempts: SeriesAttempts, columns: Columns, part: slice
) -> None:
    """Insert the points of some neighbouring attempts."""
    values = {name: column[part] for name, column in columns.items()}
    for name in _MEASURES:
        values[name] = np.where(np.isfinite(values[name]), values[name], np.nan)
    prepared.write(
        _INSERT,
        [
            club.id,
            series.approach_id,
            series.finish_class.value,
            attempts.ids[part],
            attempts.started_at[part],
            *(values[name].tolist() for name in _NAMES[2:]),
        ],
    )
