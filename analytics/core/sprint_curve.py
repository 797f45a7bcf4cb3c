"""The course of a sprint from a standing start: distance, time and speed.

``x(t) = M (t + tau (exp(-t / tau) - 1))``, M the top speed, tau the rise time: after tau seconds
63 % of the top speed is reached (Furusawa, Hill & Parkinson 1927, Proc R Soc B 102:29-42).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.core.conventions import FloatArray

_NEAR_START = 1e-3
_START_SERIES = (0.0, 1.0, 1 / 6, 1 / 36, 1 / 270, 1 / 4320, -1 / 17010, -139 / 5443200)
"""s as a power series of w = sqrt(2 y), where ``y = s + exp(-s) - 1`` (inverted by hand)."""

_TINIEST, _LARGEST = 1e-50, 1e50
"""Beyond these products of top speed and rise time overflow; no runner comes near them."""


def distance_run(
    time_s: npt.ArrayLike, *, top_speed_mps: npt.ArrayLike, rise_time_s: npt.ArrayLike
) -> FloatArray:
    """Return how far a run has come.

    Parameters
    ----------
    time_s
        Any shape, seconds since the first movement, 0 or more; NaN where missing.
    top_speed_mps, rise_time_s
        M and tau, above 0.

    Returns
    -------
    ndarray
        Metres from the start.

    Raises
    ------
    ValueError
        A negative or infinite time, M or tau that is not finite and above 0.

    Examples
    --------
    >>> distance_run([0.0, 1.2], top_speed_mps=10.0, rise_time_s=1.2).round(3).tolist()
    [0.0, 4.415]
    """
    time = _check(time_s, "time_s")
    top, rise = _check_curve(top_speed_mps, rise_time_s)
    return np.asarray(top * (time + rise * np.expm1(-time / rise)))


def time_to(
    run_m: npt.ArrayLike, *, top_speed_mps: npt.ArrayLike, rise_time_s: npt.ArrayLike
) -> FloatArray:
    """Return how long a run takes to a distance from its start.

    Parameters
    ----------
    run_m
        Any shape, metres from the start, 0 or more; NaN where missing.
    top_speed_mps, rise_time_s
        M and tau, above 0.

    Returns
    -------
    ndarray
        Seconds since the first movement.

    Raises
    ------
    ValueError
        A negative or infinite distance, M or tau that is not finite and above 0.

    Notes
    -----
    ``t = tau (W0(-exp(-y - 1)) + y + 1)`` with ``y = x / (M tau)`` and W0 the principal branch of
    Lambert's function. Near the start its argument is too near its branch point to tell them apart
    in floating point (at y = 0 SciPy's answer is NaN), so below y = 0.001 a power series of
    ``sqrt(2 y)`` stands in; there both agree to 13 digits. Its first term alone would be wrong
    by one part in 140,000 at y = 1e-9 already.

    Examples
    --------
    >>> time_to([0.0, 30.0], top_speed_mps=10.0, rise_time_s=1.2).round(4).tolist()
    [0.0, 4.1626]
    """
    run = _check(run_m, "run_m")
    top, rise = _check_curve(top_speed_mps, rise_time_s)
    part = run / (top * rise)
    near = np.polynomial.polynomial.polyval(
        np.sqrt(2 * np.minimum(part, _NEAR_START)), _START_SERIES
    )
    far = np.maximum(part, _NEAR_START)
    scaled = special.lambertw(-np.exp(-far - 1)).real + far + 1
    return np.asarray(rise * np.where(part < _NEAR_START, near, scaled))


def speed_after(
    run_m: npt.ArrayLike, *, top_speed_mps: npt.ArrayLike, rise_time_s: npt.ArrayLike
) -> FloatArray:
    """Return how fast a run is at a distance from its start.

    Parameters
    ----------
    run_m
        Any shape, metres from the start, 0 or more; NaN where missing.
    top_speed_mps, rise_time_s
        M and tau, above 0.

    Returns
    -------
    ndarray
        m/s, from 0 at the start toward M.

    Raises
    ------
    ValueError
        As `time_to`.

    Notes
    -----
    ``v = M (1 - exp(-t / tau))``. A sprinter slows down again after 60 to 80 m, which no run-up
    reaches and this curve does not know.

    Examples
    --------
    >>> speed_after([0.0, 15.0, 40.0], top_speed_mps=10.0, rise_time_s=1.2).round(2).tolist()
    [0.0, 8.81, 9.87]
    """
    time = time_to(run_m, top_speed_mps=top_speed_mps, rise_time_s=rise_time_s)
    top, rise = _check_curve(top_speed_mps, rise_time_s)
    return np.asarray(-top * np.expm1(-time / rise))


def time_slopes(
    run_m: npt.ArrayLike, *, top_speed_mps: float, rise_time_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return how `time_to` changes with M and with tau.

    Returns
    -------
    tuple of ndarray
        Seconds for each m/s of M, and seconds for each second of tau, in the shape of `run_m`.

    Raises
    ------
    ValueError
        As `time_to`.

    Notes
    -----
    With ``s = t / tau``: ``-tau (s + exp(-s) - 1) / (M (1 - exp(-s)))`` and
    ``(1 - exp(-s) - s exp(-s)) / (1 - exp(-s))``, both 0 at the start, where they go as s / 2.

    Examples
    --------
    >>> by_top, by_rise = time_slopes([0.0, 30.0], top_speed_mps=10.0, rise_time_s=1.2)
    >>> by_top.round(4).tolist(), by_rise.round(4).tolist()
    ([0.0, -0.3096], [0.0, 0.8885])
    """
    time = time_to(run_m, top_speed_mps=top_speed_mps, rise_time_s=rise_time_s)
    s = time / rise_time_s
    speed_share = -np.expm1(-s)
    # Below s = 1e-6 the numerators are all rounding; the limits differ from them by s^2.
    small = s < 1e-6
    safe = np.where(small, 1.0, speed_share)
    by_top = np.where(small, 0.0 - s / 2, -(s + np.expm1(-s)) / safe) * rise_time_s / top_speed_mps
    by_rise = np.where(small, s / 2, (speed_share - s * np.exp(-s)) / safe)
    return np.asarray(by_top), np.asarray(by_rise)


def _check(values: npt.ArrayLike, name: str) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    if np.any(array < 0) or np.any(np.isinf(array)):
        raise ValueError(f"{name} must be finite and 0 or more")
    return array


def _check_curve(
    top_speed_mps: npt.ArrayLike, rise_time_s: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    top = np.asarray(top_speed_mps, dtype=np.float64)
    rise = np.asarray(rise_time_s, dtype=np.float64)
    for name, values in (("top_speed_mps", top), ("rise_time_s", rise)):
        if not np.all((values > _TINIEST) & (values < _LARGEST)):
            raise ValueError(f"{name} must be finite and above 0")
    return top, rise
