"""Does a figure drift over the sessions, and how fast?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import conventions
from analytics.core.conventions import DEFAULT_LEVEL, FloatArray, Interval, NotEnoughAttempts

MIN_POINTS = 6
"""Points that a slope needs. With fewer than five no slope of any size can be shown at 95 %: even
four points in perfect order come up by chance in 1 of 12."""

DAYS_PER_WEEK = 7


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through a series that a few wild points do not turn.

    Attributes
    ----------
    n
        Points that were used.
    span_days
        From the first to the last of them.
    slope_per_week, interval_per_week
        Change of the figure a week, in its unit, and its interval.
    """

    n: int
    span_days: float
    slope_per_week: float
    interval_per_week: Interval


def find_trend(
    points: npt.ArrayLike, day: npt.ArrayLike, *, level: float = DEFAULT_LEVEL
) -> Trend | NotEnoughAttempts:
    """Return the slope of a series over time.

    Parameters
    ----------
    points
        Shape (n,), one value for each session, such as mean error or SD in metres or the speed
        over the last metres; NaN is left out. Not a rolling figure: neighbours share attempts.
    day
        Shape (n,), when, in days from any moment, in any order. Two sessions may share a day.
    level
        Of the interval.

    Returns
    -------
    Trend or NotEnoughAttempts
        `MIN_POINTS` points on `MIN_POINTS` different days are needed.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, a day that is not finite, a level outside (0, 1).

    Notes
    -----
    Theil 1950 and Sen 1968, J Am Stat Assoc 63:1379-1389 (the latter's data and result read in
    tests of a statistics package): the median of the slopes of all pairs of different days; the
    interval from their ranks by Kendall's S, with ties, as `scipy.stats.theilslopes` has it. About
    a quarter of the points may be wild before the slope follows them. The interval needs points
    that are independent given the line. Sessions that hang together make it too narrow.

    The line is a summary: that nothing grows for ever, and that a shift looks like a slope, it
    does not know, see `breaks`.

    Examples
    --------
    >>> trend = find_trend([9, 15, 19, 20, 45, 55, 78], [1, 2, 3, 4, 10, 12, 18])
    >>> round(trend.slope_per_week, 6), trend.span_days
    (28.0, 17.0)
    """
    values = np.asarray(points, dtype=np.float64)
    days = np.asarray(day, dtype=np.float64)
    _check_points(values, days)
    conventions.check_level(level)
    known = ~np.isnan(values)
    values, days = values[known], days[known]
    n_days = int(np.unique(days).size)
    if n_days < MIN_POINTS:
        return NotEnoughAttempts(n=n_days, needed=MIN_POINTS)
    # Days since the first are small, so that no digit of a moment far from 0 is lost.
    days = days - days.min()
    line = stats.theilslopes(values, days, level)
    return Trend(
        n=int(values.size),
        span_days=float(days.max()),
        slope_per_week=DAYS_PER_WEEK * float(line.slope),
        interval_per_week=Interval(
            low=DAYS_PER_WEEK * float(line.low_slope),
            high=DAYS_PER_WEEK * float(line.high_slope),
            level=level,
        ),
    )


def _check_points(points: FloatArray, days: FloatArray) -> None:
    if points.ndim != 1 or days.shape != points.shape:
        raise ValueError(
            f"points and day need one value for each session, "
            f"got shapes {points.shape} and {days.shape}"
        )
    conventions.check_not_infinite(points, name="points")
    if not np.all(np.isfinite(days)):
        raise ValueError("day must be finite")
