"""How fast a sprint profile says an athlete is along the runway, and what a longer run brings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import conventions, sprint_curve, sprint_profile
from analytics.core.conventions import DEFAULT_LEVEL, FloatArray, Interval

FURTHER_M = 4.2
"""Two more steps of a run-up, about (design value: two steps of 2.1 m)."""


@dataclass(frozen=True, slots=True)
class SpeedAlong:
    """Speeds of a profile at distances from the start, and their intervals, each of shape (d,)."""

    run_m: FloatArray
    speed_mps: FloatArray
    low_mps: FloatArray
    high_mps: FloatArray


def speed_along(
    profile: sprint_profile.SprintProfile, run_m: npt.ArrayLike, *, level: float = DEFAULT_LEVEL
) -> SpeedAlong:
    """Return the speed that the profile has at distances from the start.

    Parameters
    ----------
    profile
        From `sprint_profile.fit_profile`.
    run_m
        Shape (d,), metres from the start, 0 or more.
    level
        Of the intervals.

    Raises
    ------
    ValueError
        A negative or infinite distance, a level outside (0, 1).

    Notes
    -----
    The interval is that of the curve, by the slopes of log speed on log M and log tau; at the start
    the speed is 0 and so are both ends. Beyond the last split it holds only as far as the curve.

    Examples
    --------
    >>> found = sprint_profile.fit_profile([5, 10, 20, 30], [1.32, 2.01, 3.21, 4.31])
    >>> speed_along(found, [0, 20, 35]).speed_mps.round(2).tolist()
    [0.0, 8.84, 9.29]
    """
    conventions.check_level(level)
    run = np.atleast_1d(np.asarray(run_m, dtype=np.float64))
    speed, slopes = _speed_and_slopes(profile, run)
    variance = _quadratic(profile, slopes)
    # On the log scale, so that no end is below 0; at the start nothing is uncertain.
    moving = np.where(speed > 0, speed, 1.0)
    half = float(stats.t.ppf(0.5 + level / 2, profile.df)) * np.sqrt(variance) / moving
    return SpeedAlong(
        run_m=run, speed_mps=speed, low_mps=speed * np.exp(-half), high_mps=speed * np.exp(half)
    )


def speed_gained(
    profile: sprint_profile.SprintProfile,
    run_m: float,
    *,
    further_m: float = FURTHER_M,
    level: float = DEFAULT_LEVEL,
) -> tuple[float, Interval]:
    """Return the speed that a longer run would bring, and its interval.

    Parameters
    ----------
    profile
        From `sprint_profile.fit_profile`.
    run_m
        Length of the present run, metres, 0 or more.
    further_m
        By how much it would be longer, metres, 0 or more.
    level
        Of the interval.

    Raises
    ------
    ValueError
        A distance that is negative or not finite, a level outside (0, 1).

    Notes
    -----
    ``v(x + d) - v(x)``, the interval by its slopes on log M and log tau; not below 0, since the
    curve never falls. It is the speed of a sprint without a board to meet.

    Examples
    --------
    >>> found = sprint_profile.fit_profile([5, 10, 20, 30], [1.32, 2.01, 3.21, 4.31])
    >>> gain, interval = speed_gained(found, 25.0)
    >>> round(gain, 2), round(interval.low, 2), round(interval.high, 2)
    (0.12, 0.1, 0.14)
    """
    conventions.check_level(level)
    for name, length in (("run_m", run_m), ("further_m", further_m)):
        if not 0 <= length < np.inf:
            raise ValueError(f"{name} must be finite and 0 or more, got {length}")
    speed, slopes = _speed_and_slopes(profile, np.array([run_m, run_m + further_m]))
    gain = float(speed[1] - speed[0])
    variance = float(_quadratic(profile, slopes[:, 1:] - slopes[:, :1])[0])
    interval = conventions.t_interval(
        estimate=gain, standard_error=float(np.sqrt(variance)), df=profile.df, level=level
    )
    return gain, Interval(low=max(interval.low, 0.0), high=interval.high, level=level)


def _speed_and_slopes(
    profile: sprint_profile.SprintProfile, run_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return speeds, shape (d,), and their slopes on log M and log tau, shape (2, d)."""
    top, rise = profile.top_speed_mps, profile.rise_time_s
    speed = sprint_curve.speed_after(run_m, top_speed_mps=top, rise_time_s=rise)
    time = sprint_curve.time_to(run_m, top_speed_mps=top, rise_time_s=rise)
    by_top, by_rise = sprint_curve.time_slopes(run_m, top_speed_mps=top, rise_time_s=rise)
    # v = M (1 - exp(-s)) with s = t / tau: M moves t besides, tau moves t and s.
    fall = top * np.exp(-time / rise) / rise
    slopes = np.array([speed + fall * top * by_top, fall * (rise * by_rise - time)])
    return speed, np.asarray(slopes, dtype=np.float64)


def _quadratic(profile: sprint_profile.SprintProfile, slopes: FloatArray) -> FloatArray:
    top, both, rise = profile.covariance
    variance = top * slopes[0] ** 2 + 2 * both * slopes[0] * slopes[1] + rise * slopes[1] ** 2
    return np.asarray(np.maximum(variance, 0.0))
