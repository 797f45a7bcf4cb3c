"""An athlete's sprint profile: top speed and rise time, from the splits of one sprint."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy import optimize, stats

from analytics.core import conventions, sprint_curve
from analytics.core.conventions import DEFAULT_LEVEL, FloatArray, Interval

MIN_DF = 2
"""Splits beyond the parameters: with one, an interval is twelve standard errors wide each way."""

WIDEST_LOG_SE = 0.5
"""Standard error of log M or log tau above which the splits say nothing of it (our choice)."""

SLOWEST_MPS, FASTEST_MPS = 0.1, 100.0
"""Top speeds beyond what any runner or split could show: a fit that ends there says nothing."""


class Correction(StrEnum):
    """What is known of how the clock was started.

    Attributes
    ----------
    NONE
        It started with the first movement.
    TIME_SHIFT
        It started later or earlier than that, by an unknown time: a reaction, a hand.
    FLYING_DISTANCE
        A gate started it, some unknown distance after the start.
    """

    NONE = "none"
    TIME_SHIFT = "time_shift"
    FLYING_DISTANCE = "flying_distance"


@dataclass(frozen=True, slots=True)
class SprintProfile:
    """The sprint curve of an athlete, see `sprint_curve`.

    Attributes
    ----------
    n, df
        Splits, and how many more than parameters.
    top_speed_mps, top_speed_interval
        M.
    rise_time_s, rise_time_interval
        tau.
    correction
        What was fitted besides.
    time_shift_s, time_shift_interval
        By how much the clock started after the first movement, negative before it; None where not
        fitted.
    flying_distance_m, flying_distance_interval
        How far the athlete had run when the clock started; None where not fitted.
    covariance
        Of log M and log tau: variance, covariance, variance.
    residual_sd_s
        Spread of the splits about the curve.
    share_reached
        Part of the top speed that was reached at the last split.
    """

    n: int
    df: int
    top_speed_mps: float
    top_speed_interval: Interval
    rise_time_s: float
    rise_time_interval: Interval
    correction: Correction
    time_shift_s: float | None
    time_shift_interval: Interval | None
    flying_distance_m: float | None
    flying_distance_interval: Interval | None
    covariance: tuple[float, float, float]
    residual_sd_s: float
    share_reached: float


@dataclass(frozen=True, slots=True)
class NoProfile:
    """Why there is none.

    >>> str(NoProfile(n=3, needed=4))
    'not enough splits (3 of 4)'
    >>> str(NoProfile(n=5, needed=4))
    'these splits do not tell top speed and rise time apart'
    """

    n: int
    needed: int

    def __str__(self) -> str:
        if self.n < self.needed:
            return f"not enough splits ({self.n} of {self.needed})"
        return "these splits do not tell top speed and rise time apart"


def fit_profile(
    split_m: npt.ArrayLike,
    time_s: npt.ArrayLike,
    *,
    correction: Correction = Correction.NONE,
    level: float = DEFAULT_LEVEL,
) -> SprintProfile | NoProfile:
    """Fit the sprint curve to the splits of one sprint.

    Parameters
    ----------
    split_m
        Shape (n,), metres from the start, or from the gate that started the clock; above 0, rising.
    time_s
        Shape (n,), seconds on the clock, above 0, rising; NaN where missing.
    correction
        One of `Correction`; never both: with few splits a shift and a flying distance cannot be
        told apart.
    level
        Of the intervals.

    Returns
    -------
    SprintProfile or NoProfile
        Four splits are needed, with a correction five.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, splits that do not rise, a level outside (0, 1).

    Notes
    -----
    Least squares of time given distance, ``t_clock = t(x)``, ``t(x) - shift`` or
    ``t(x + flying) - t(flying)``, with t(x) of `sprint_curve.time_to`: where gates stand is known,
    times have the error. M and tau are fitted as logarithms, the flying distance as its root, in
    which the curve is smooth down to 0. Intervals are Student's t from the Jacobian at the optimum,
    their ends carried back. Errors of splits are taken as independent: what all share, such as a
    late hand, is what the corrections are for.

    A clock that a gate starts 0.1 m after the start, fitted without a correction, gives a rise time
    too low by a quarter, after 0.5 m by nearly half. A time shift takes nearly all of that back.

    Edge cases: the start itself is no split. Splits on a straight line (a run at full speed), or in
    which speed rises without end, give no profile. A flying distance cannot be below 0: its
    interval ends there.

    Source: Furusawa, Hill & Parkinson 1927, Proc R Soc B 102:29-42; Samozino et al. 2016, Scand J
    Med Sci Sports 26:648-658 (abstracts).

    Examples
    --------
    >>> found = fit_profile([5, 10, 20, 30], [1.32, 2.01, 3.21, 4.31])
    >>> round(found.top_speed_mps, 2), round(found.rise_time_s, 2), round(found.share_reached, 2)
    (9.43, 1.16, 0.98)
    """
    conventions.check_level(level)
    split, time = _check_splits(split_m, time_s)
    kind = Correction(correction)
    shifted, flying = kind is Correction.TIME_SHIFT, kind is Correction.FLYING_DISTANCE
    n_parameters = 3 if shifted or flying else 2
    needed = n_parameters + MIN_DF
    n = int(split.size)
    if n < needed:
        return NoProfile(n=n, needed=needed)

    # Splits in the wrong unit may begin outside of what a runner can do: the fit then ends there.
    fastest = float(np.max(np.diff(split) / np.diff(time)))
    start = [float(np.log(np.clip(fastest, 2 * SLOWEST_MPS, FASTEST_MPS / 2))), 0.0]
    if shifted or flying:
        start.append(0.0 if shifted else 0.5)

    def residual(at: FloatArray) -> FloatArray:
        return _clock(split, at, kind) - time

    def slopes(at: FloatArray) -> FloatArray:
        return _clock_slopes(split, at, kind)

    found = optimize.least_squares(
        residual,
        start,
        jac=slopes,
        bounds=(
            [
                np.log(SLOWEST_MPS),
                np.log(1e-3),
                *([-np.inf] if shifted else [0.0] if flying else []),
            ],
            [np.log(FASTEST_MPS), np.log(100), *([np.inf] if shifted or flying else [])],
        ),
        x_scale="jac",
        ftol=1e-12,
        xtol=1e-12,
        gtol=1e-12,
    )
    df = n - n_parameters
    residual_sd = float(np.sqrt(found.fun @ found.fun / df))
    _, singular, turned = np.linalg.svd(slopes(found.x), full_matrices=False)
    if not found.success or singular[-1] <= 1e-10 * singular[0]:
        return NoProfile(n=n, needed=needed)
    covariance = residual_sd**2 * (turned.T / singular**2) @ turned
    error = np.sqrt(np.diag(covariance))
    if np.any(error[:2] > WIDEST_LOG_SE):
        return NoProfile(n=n, needed=needed)
    return _profile(
        found.x, covariance, split, df=df, residual_sd=residual_sd, kind=kind, level=level
    )


def _profile(
    at: FloatArray,
    covariance: FloatArray,
    split: FloatArray,
    *,
    df: int,
    residual_sd: float,
    kind: Correction,
    level: float,
) -> SprintProfile:
    half = float(stats.t.ppf(0.5 + level / 2, df)) * np.sqrt(np.diag(covariance))

    def carried_back(place: int, back: Callable[[float], float]) -> tuple[float, Interval]:
        low, high = float(at[place] - half[place]), float(at[place] + half[place])
        return back(float(at[place])), Interval(low=back(low), high=back(high), level=level)

    top, top_interval = carried_back(0, lambda x: float(np.exp(x)))
    rise, rise_interval = carried_back(1, lambda x: float(np.exp(x)))
    shift, shift_interval, flying, flying_interval = None, None, None, None
    if kind is Correction.TIME_SHIFT:
        shift, shift_interval = carried_back(2, float)
    if kind is Correction.FLYING_DISTANCE:
        flying, flying_interval = carried_back(2, lambda x: max(x, 0.0) ** 2)
    reached = sprint_curve.speed_after(
        float(split[-1]) + (flying or 0.0), top_speed_mps=top, rise_time_s=rise
    )
    return SprintProfile(
        n=int(split.size),
        df=df,
        top_speed_mps=top,
        top_speed_interval=top_interval,
        rise_time_s=rise,
        rise_time_interval=rise_interval,
        correction=kind,
        time_shift_s=shift,
        time_shift_interval=shift_interval,
        flying_distance_m=flying,
        flying_distance_interval=flying_interval,
        covariance=(float(covariance[0, 0]), float(covariance[0, 1]), float(covariance[1, 1])),
        residual_sd_s=residual_sd,
        share_reached=float(reached) / top,
    )


def _clock(split: FloatArray, at: FloatArray, kind: Correction) -> FloatArray:
    top, rise = float(np.exp(at[0])), float(np.exp(at[1]))

    def time_to(run_m: npt.ArrayLike) -> FloatArray:
        return sprint_curve.time_to(run_m, top_speed_mps=top, rise_time_s=rise)

    if kind is Correction.NONE:
        return time_to(split)
    if kind is Correction.TIME_SHIFT:
        return np.asarray(time_to(split) - at[2])
    return time_to(split + at[2] ** 2) - time_to(at[2] ** 2)


def _clock_slopes(split: FloatArray, at: FloatArray, kind: Correction) -> FloatArray:
    """Return the Jacobian of `_clock`, shape (n, parameters)."""
    top, rise = float(np.exp(at[0])), float(np.exp(at[1]))
    flying = float(at[2] ** 2) if kind is Correction.FLYING_DISTANCE else 0.0
    run = np.concatenate([split + flying, [flying]])
    by_top, by_rise = sprint_curve.time_slopes(run, top_speed_mps=top, rise_time_s=rise)
    columns = [top * (by_top[:-1] - by_top[-1]), rise * (by_rise[:-1] - by_rise[-1])]
    if kind is Correction.TIME_SHIFT:
        columns.append(np.full(split.size, -1.0))
    if kind is Correction.FLYING_DISTANCE:
        speed = sprint_curve.speed_after(run, top_speed_mps=top, rise_time_s=rise)
        # 2 q / v(q^2) is sqrt(2 tau / M) in the limit at the start.
        root = float(at[2])
        first = 2 * root / speed[-1] if root > 1e-8 else float(np.sqrt(2 * rise / top))
        columns.append(2 * root / speed[:-1] - first)
    return np.column_stack(columns)


def _check_splits(split_m: npt.ArrayLike, time_s: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    split = np.asarray(split_m, dtype=np.float64)
    time = np.asarray(time_s, dtype=np.float64)
    if split.ndim != 1 or time.shape != split.shape:
        raise ValueError(
            f"split_m and time_s need one value for each split, got {split.shape} and {time.shape}"
        )
    conventions.check_not_infinite(split, name="split_m")
    conventions.check_not_infinite(time, name="time_s")
    known = ~np.isnan(split) & ~np.isnan(time)
    split, time = split[known], time[known]
    for name, values in (("split_m", split), ("time_s", time)):
        if np.any(np.diff(values, prepend=0.0) <= 0):
            raise ValueError(f"{name} must be above 0 and rise: the start itself is no split")
    return split, time
