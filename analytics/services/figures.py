"""The latest figures of a series, as they are stored and answered."""

import dataclasses
import math
from enum import Enum
from typing import Any

import numpy as np

from analytics import selectors
from analytics.core import accuracy, censored, comparing, rolling, spread
from analytics.core.conventions import Interval, NotEnoughAttempts
from analytics.selectors import Series, SeriesAttempts
from approaches.models import Plan

WINDOW = rolling.DEFAULT_WINDOW
# Two neighbouring windows are compared, so this many attempts are read.
TWO_BLOCKS = 2 * WINDOW
RESAMPLES = 200
# With fewer there is no run-up to look at.
MIN_FOOTFALLS = 3
# The resampling of the onset is the same at each refresh, so equal data give equal figures.
_SEED = 20


def latest_figures(series: Series) -> dict[str, Any]:
    """Return the figures over the last window of a series, ready to be stored as JSON.

    The window ends with the last attempt and reaches back at most `WINDOW` attempts, not beyond
    the plan revision. The comparison of blocks reaches back further, within revisions.
    """
    attempts = selectors.read_latest(series, TWO_BLOCKS)
    if not attempts.ids:
        return {}
    window = _last_window(attempts)
    footfalls = selectors.read_footfalls(window.ids)
    sessions = window.session_labels
    plan = Plan.objects.filter(pk=window.plan_ids[-1]).first() if window.plan_ids[-1] else None
    return {
        "window": {
            "n": len(window.ids),
            "n_sessions": len(set(window.session_ids)),
            "first_attempt": str(window.ids[0]),
            "last_attempt": str(window.ids[-1]),
            "first_started_at": window.started_at[0].isoformat(),
            "last_started_at": window.started_at[-1].isoformat(),
            "plan_revision": int(window.revisions[-1]) or None,
            "aim_m": float(window.aim_m[-1]),
        },
        "accuracy": as_json(
            accuracy.accuracy(
                window.board_toe_m, window.no_jump, aim_m=window.aim_m, session=sessions
            )
        ),
        "censored": as_json(censored.fit_censored(window.board_toe_m, window.no_jump)),
        "spread": as_json(_spread(footfalls, window, sessions, plan)),
        "change": as_json(_change(attempts)),
    }


def _last_window(attempts: SeriesAttempts) -> SeriesAttempts:
    """Return the end of the series that has one plan revision, at most a window of it."""
    other = np.flatnonzero(attempts.revisions != attempts.revisions[-1])
    start = max(len(attempts) - WINDOW, int(other[-1]) + 1 if other.size else 0)
    return attempts[start:]


def _spread(
    footfalls: np.ndarray[Any, np.dtype[np.float64]],
    window: SeriesAttempts,
    sessions: np.ndarray[Any, np.dtype[np.int64]],
    plan: Plan | None,
) -> spread.FootfallSpread | NotEnoughAttempts:
    if footfalls.shape[1] < MIN_FOOTFALLS:
        return NotEnoughAttempts(n=0, needed=spread.MIN_ATTEMPTS)
    starts = None
    if plan is not None and plan.transition_footfall and plan.attack_footfall:
        starts = spread.PhaseStarts(plan.transition_footfall, plan.attack_footfall)
    return spread.footfall_spread(
        footfalls,
        window.no_jump,
        rng=np.random.default_rng(_SEED),
        session=sessions,
        phase_starts=starts,
        n_resamples=RESAMPLES,
    )


def _change(attempts: SeriesAttempts) -> comparing.BlockComparison | NotEnoughAttempts:
    """Compare the last window of attempts with the one before it."""
    return compare_at(attempts, len(attempts), block=WINDOW)


def compare_at(
    attempts: SeriesAttempts, end: int, *, block: int
) -> comparing.BlockComparison | NotEnoughAttempts:
    """Compare the `block` attempts before position `end` with as many before them."""
    if end < 2 * block:
        return NotEnoughAttempts(n=end, needed=2 * block)
    before, after = attempts[end - 2 * block : end - block], attempts[end - block : end]
    blocks = []
    for part in (before, after):
        figures = comparing.block_figures(
            part.board_toe_m,
            part.no_jump,
            aim_m=part.aim_m,
            revision=part.revisions,
            session=part.session_labels,
        )
        if isinstance(figures, NotEnoughAttempts):
            return figures
        blocks.append(figures)
    return comparing.compare_blocks(*blocks)


def as_json(value: Any) -> Any:
    """Return a result of the core as plain JSON: NaN is null, an interval has low and high."""
    if isinstance(value, NotEnoughAttempts):
        return {"not_enough_attempts": str(value), "n": value.n, "needed": value.needed}
    if isinstance(value, Interval):
        return {"low": as_json(value.low), "high": as_json(value.high), "level": value.level}
    if dataclasses.is_dataclass(value):
        return {
            field.name: as_json(getattr(value, field.name)) for field in dataclasses.fields(value)
        }
    if isinstance(value, (np.ndarray, np.generic)):
        return as_json(value.tolist())
    if isinstance(value, (list, tuple)):
        return [as_json(each) for each in value]
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
