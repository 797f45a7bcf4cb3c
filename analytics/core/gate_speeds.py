"""Speeds between timing gates, and what the last metres gain or lose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import interpolate, stats

from analytics.core import conventions
from analytics.core.conventions import DEFAULT_LEVEL, BoolArray, FloatArray

ZONE_ENDS_M = (11.0, 6.0, 1.0)
"""Ends of the field's two standard zones, metres before the take-off line."""

GATE_TOLERANCE_M = 0.05
"""A gate that stands no farther from the end of a zone is taken for it, at its true place."""

WIDEST_GAP_M = 5.5
"""Between neighbouring gates farther apart nothing is interpolated. With gates every 5 m the gain
came out wrong by 0.08 m/s at most, with 6 m by 0.16, with 10 m by 0.67 (simulated run-ups, see
Notes of `zone_speeds`)."""

CLOCK_SD_S = 0.01 / 12**0.5
"""Timing error of a gate of which no more is known than that its clock rounds to 0.01 s (SD of
rounding). A beam that an arm or a knee may cut is worse: give what was measured."""

PLACE_SD_M = 0.01 / 12**0.5
"""Error of a gate's place that was read to the centimetre (SD of rounding)."""


@dataclass(frozen=True, slots=True)
class ZoneSpeeds:
    """Speeds of attempts in the two standard zones. Arrays of shape (n,), NaN where not known.

    Attributes
    ----------
    speed_11_6_mps, speed_6_1_mps
        Mean speed between 11 and 6 m, and between 6 and 1 m, before the take-off line.
    gain_mps
        The second less the first: negative where speed is lost into the board.
    speed_11_6_sd_mps, speed_6_1_sd_mps, gain_sd_mps
        What the clock and the places of the gates leave open.
    gain_clock_sd_mps
        The part of it that changes from attempt to attempt: a gate that stands wrong stands wrong
        for all attempts.
    measured_11_6, measured_6_1
        Gates stood at both ends of the zone; else the speed is interpolated, or NaN.
    """

    speed_11_6_mps: FloatArray
    speed_6_1_mps: FloatArray
    gain_mps: FloatArray
    speed_11_6_sd_mps: FloatArray
    speed_6_1_sd_mps: FloatArray
    gain_sd_mps: FloatArray
    gain_clock_sd_mps: FloatArray
    measured_11_6: BoolArray
    measured_6_1: BoolArray


@dataclass(frozen=True, slots=True)
class ZoneMeans:
    """Speeds of attempts in the two standard zones alone, see `zone_means`. Arrays of shape (n,).

    Attributes
    ----------
    speed_11_6_mps, speed_6_1_mps
        As in `ZoneSpeeds`.
    measured
        Gates stood at the ends of both zones.
    """

    speed_11_6_mps: FloatArray
    speed_6_1_mps: FloatArray
    measured: BoolArray


def split_speeds(at_m: npt.ArrayLike, time_s: npt.ArrayLike) -> FloatArray:
    """Return the mean speeds between neighbouring gates by their true distances.

    Parameters
    ----------
    at_m
        Shape (G,) for gates that stand still, or (n, G): metres before the take-off line, in the
        order passed; NaN where there was none.
    time_s
        Shape (n, G), seconds on one clock for each attempt; NaN where missing.

    Returns
    -------
    ndarray
        Shape (n, G - 1), m/s; NaN where a gate is missing.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, gates that are not in the order passed.

    Examples
    --------
    >>> split_speeds([20, 10, 5], [[3.0, 4.25, 4.75]]).tolist()
    [[8.0, 10.0]]
    """
    at, time = _check_gates(at_m, time_s)
    return np.asarray(-np.diff(at, axis=1) / np.diff(time, axis=1))


def zone_speeds(
    at_m: npt.ArrayLike,
    time_s: npt.ArrayLike,
    *,
    clock_sd_s: float = CLOCK_SD_S,
    place_sd_m: float = PLACE_SD_M,
) -> ZoneSpeeds:
    """Return the speeds in the zones 11 to 6 m and 6 to 1 m, with what timing leaves open.

    Parameters
    ----------
    at_m
        Shape (G,) for gates that stand still, or (n, G): metres before the take-off line, in the
        order passed; NaN where there was none.
    time_s
        Shape (n, G), seconds on one clock for each attempt; NaN where missing.
    clock_sd_s
        SD of the time that one gate gives, seconds; errors of gates are independent.
    place_sd_m
        SD of the place of one gate, metres, the same in all attempts.

    Returns
    -------
    ZoneSpeeds

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, gates that are not in the order passed, an SD that
        is negative or not finite.

    Notes
    -----
    ``v = (x_a - x_b) / (t_b - t_a)`` between gates within `GATE_TOLERANCE_M` of both ends, by their
    true distances. An end without a gate gets a time from the gates by a monotone cubic of time on
    distance (Fritsch & Butland 1984, SciPy's PCHIP), unless its neighbours stand farther apart than
    `WIDEST_GAP_M`, or on one side there is none. Simulated run-ups for that limit: top speeds of 7
    to 10.5 m/s over 18 to 42 m, 0.3 m/s gained to 0.6 m/s lost over the last 3 or 5 m.

    Error: each speed is moved by ``v^2 / d`` for each second at either gate, d the length of the
    zone. Both zones share the gate at 6 m, which moves the gain twice, so its SD is
    ``sqrt(1 + 2^2 + 1) v^2 / d sigma = sqrt(6) v^2 / 5 sigma``: at 10 m/s 0.49 m/s for an error of
    0.01 s, 0.14 m/s for a clock that rounds to 0.01 s. A gate that stands wrong by x is a clock
    that is wrong by x / v. Of interpolated times the SD follows from the slopes of the curve on
    each gate's time; how far the curve itself is from the truth is not in it.

    Edge cases: of several gates within the tolerance the nearest counts, of two equally near the
    one passed first. Too few gates: NaN, and so are the SDs.

    Source: propagation of errors, NIST/SEMATECH e-Handbook 2.5.5 (from memory). The zones are those
    of Fukashiro & Wakayama 1992, New Studies in Athletics 7:53-56 (from memory).

    Examples
    --------
    >>> found = zone_speeds([31, 11, 6, 1], [[1.052, 4.154, 4.654, 5.174]])
    >>> found.speed_11_6_mps.round(2).tolist(), found.gain_mps.round(2).tolist()
    ([10.0], [-0.38])
    >>> found.gain_sd_mps.round(2).tolist(), found.measured_6_1.tolist()
    ([0.14], [True])
    """
    at, time = _check_gates(at_m, time_s)
    for name, value in (("clock_sd_s", clock_sd_s), ("place_sd_m", place_sd_m)):
        if not 0 <= value < float("inf"):
            raise ValueError(f"{name} must be finite and 0 or more, got {value}")
    place, passed, slope, exact = _times_at_ends(at, time)
    length = place[:, :-1] - place[:, 1:]
    speed = length / np.diff(passed, axis=1)
    # How each gate's clock moves each speed, shape (n, 2, G), and the gain, shape (n, G).
    moved = -(speed**2 / length)[:, :, None] * (slope[:, 1:] - slope[:, :-1])
    gain_moved = moved[:, 1] - moved[:, 0]
    speed_sd = np.sqrt(np.sum(moved**2, axis=2))
    gain_sd = np.sqrt(np.sum(gain_moved**2, axis=1))
    as_clock = np.hypot(clock_sd_s, place_sd_m / speed)
    measured = exact[:, :-1] & exact[:, 1:]
    return ZoneSpeeds(
        speed_11_6_mps=speed[:, 0],
        speed_6_1_mps=speed[:, 1],
        gain_mps=speed[:, 1] - speed[:, 0],
        speed_11_6_sd_mps=speed_sd[:, 0] * as_clock[:, 0],
        speed_6_1_sd_mps=speed_sd[:, 1] * as_clock[:, 1],
        gain_sd_mps=gain_sd * np.hypot(clock_sd_s, place_sd_m / speed.mean(axis=1)),
        gain_clock_sd_mps=np.where(np.isnan(speed).any(axis=1), np.nan, gain_sd * clock_sd_s),
        measured_11_6=measured[:, 0],
        measured_6_1=measured[:, 1],
    )


def zone_means(at_m: npt.ArrayLike, time_s: npt.ArrayLike) -> ZoneMeans:
    """Return the speeds of `zone_speeds` without their errors: quicker, for many attempts.

    Parameters
    ----------
    at_m, time_s
        As in `zone_speeds`.

    Returns
    -------
    ZoneMeans

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, gates that are not in the order passed.

    Examples
    --------
    >>> found = zone_means([31, 11, 6, 1], [[1.052, 4.154, 4.654, 5.174]])
    >>> found.speed_11_6_mps.round(2).tolist(), found.measured.tolist()
    ([10.0], [True])
    """
    at, time = _check_gates(at_m, time_s)
    place, passed, _, exact = _times_at_ends(at, time, with_slopes=False)
    speed = (place[:, :-1] - place[:, 1:]) / np.diff(passed, axis=1)
    return ZoneMeans(
        speed_11_6_mps=speed[:, 0],
        speed_6_1_mps=speed[:, 1],
        measured=exact[:, 0] & exact[:, 1] & exact[:, 2],
    )


def smallest_change(
    sd_mps: npt.ArrayLike, *, n: npt.ArrayLike = 1, level: float = DEFAULT_LEVEL
) -> FloatArray:
    """Return the change between two equal sets of attempts below which timing alone may be it.

    Parameters
    ----------
    sd_mps
        Any shape: `ZoneSpeeds.gain_clock_sd_mps`, or another speed's SD.
    n
        Attempts whose mean is compared with the mean of as many others; 1 or more.
    level
        How seldom timing alone makes less than that.

    Raises
    ------
    ValueError
        A negative SD, fewer than one attempt, a level outside (0, 1).

    Notes
    -----
    ``z sqrt(2 / n) SD``, two-sided: the minimal detectable change 1.96 sqrt(2) TE, with the timing
    error in place of the typical error. An athlete varies besides, so a larger change need not be a
    lasting one.

    Examples
    --------
    >>> smallest_change([0.14]).round(2).tolist(), smallest_change(0.14, n=4).round(2).tolist()
    ([0.39], 0.19)
    """
    conventions.check_level(level)
    sd = np.asarray(sd_mps, dtype=np.float64)
    count = np.asarray(n, dtype=np.float64)
    if np.any(sd < 0) or not np.all(count >= 1):
        raise ValueError("an SD is 0 or more, and attempts are 1 or more")
    return np.asarray(float(stats.norm.ppf(0.5 + level / 2)) * np.sqrt(2 / count) * sd)


def _check_gates(at_m: npt.ArrayLike, time_s: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    time = np.asarray(time_s, dtype=np.float64)
    at = np.asarray(at_m, dtype=np.float64)
    if time.ndim != 2 or at.shape not in {time.shape, time.shape[1:]}:
        raise ValueError(
            f"time_s needs the shape (n, G) and at_m the same or (G,), "
            f"got {time.shape} and {at.shape}"
        )
    conventions.check_not_infinite(at, name="at_m")
    conventions.check_not_infinite(time, name="time_s")
    known = ~np.isnan(at) & ~np.isnan(time)
    at, time = np.where(known, at, np.nan), np.where(known, time, np.nan)
    # Each known gate against the last one known before it, across those that are missing.
    last_at, last_time = np.full(time.shape[0], np.inf), np.full(time.shape[0], -np.inf)
    for gate_at, gate_time, is_known in zip(at.T, time.T, known.T, strict=True):
        if np.any(is_known & ~((gate_at < last_at) & (gate_time > last_time))):
            raise ValueError("gates must be given in the order passed: at_m falls, time_s rises")
        last_at = np.where(is_known, gate_at, last_at)
        last_time = np.where(is_known, gate_time, last_time)
    return at, time


def _times_at_ends(
    at: FloatArray, time: FloatArray, *, with_slopes: bool = True
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Return where and when each attempt passed the three ends.

    Returns
    -------
    tuple of ndarray
        Place and time, shape (n, 3); slope of that time on each gate's, shape (n, 3, G), without
        gates when not wanted; and which ends have a gate, shape (n, 3).
    """
    n, n_gates = time.shape
    ends = np.array(ZONE_ENDS_M)
    # One row for each end: what is passed on through all attempts lies side by side.
    place, passed = np.tile(ends[:, np.newaxis], n), np.full((3, n), np.nan)
    exact = np.zeros((3, n), dtype=np.bool_)
    slope = np.zeros((n, 3, n_gates if with_slopes else 0))
    # A thousandth of a millimetre more: 6.05 - 6 is not 0.05 in binary.
    least = np.full((3, n), GATE_TOLERANCE_M + 1e-6)
    columns = zip(np.ascontiguousarray(at.T), np.ascontiguousarray(time.T), strict=True)
    for gate, (gate_at, gate_time) in enumerate(columns):
        for end in range(3):
            away = np.abs(gate_at - ends[end])
            nearer = away < least[end]
            if not nearer.any():
                continue
            least[end] = np.where(nearer, away, least[end])
            place[end] = np.where(nearer, gate_at, place[end])
            passed[end] = np.where(nearer, gate_time, passed[end])
            exact[end] |= nearer
            if with_slopes:
                slope[nearer, end] = np.arange(n_gates) == gate
    place, passed, exact = place.T, passed.T, exact.T

    rows = np.flatnonzero(~exact.all(axis=1) & ~np.isnan(at).all(axis=1))
    if not rows.size:
        return place, passed, slope, exact
    layouts, which = np.unique(np.nan_to_num(at[rows], nan=np.inf), axis=0, return_inverse=True)
    for index in range(layouts.shape[0]):
        chosen = rows[which.reshape(-1) == index]
        gates = np.flatnonzero(~np.isnan(at[chosen[0]]))
        gates_m = at[chosen[0], gates]
        within = [
            end
            for end in np.flatnonzero(~exact[chosen[0]])
            if _gap_around(gates_m, ends[end]) <= WIDEST_GAP_M
        ]
        if within:
            known = time[chosen][:, gates]
            passed[np.ix_(chosen, within)] = _interpolate(gates_m, known, ends[within])
            if with_slopes:
                by_gate = _slopes_of_interpolated(gates_m, known, ends[within])
                slope[np.ix_(chosen, within, gates)] = by_gate
    return place, passed, slope, exact


def _gap_around(gates_m: FloatArray, end_m: float) -> float:
    """Return how far the gates before and behind stand apart; infinite where one is missing."""
    before, behind = gates_m[gates_m > end_m], gates_m[gates_m < end_m]
    if before.size == 0 or behind.size == 0:
        return float("inf")
    return float(before.min() - behind.max())


def _interpolate(gates_m: FloatArray, time: FloatArray, ends_m: FloatArray) -> FloatArray:
    """Return the times at the ends, shape (n, E)."""
    curve = interpolate.PchipInterpolator(-gates_m, time, axis=1, extrapolate=False)
    return np.asarray(curve(-ends_m))


def _slopes_of_interpolated(
    gates_m: FloatArray, time: FloatArray, ends_m: FloatArray
) -> FloatArray:
    """Return how the time of each gate moves those at the ends, shape (n, E, G)."""
    step = 1e-6  # seconds: far below any clock, far above rounding
    slopes = []
    for gate in range(gates_m.size):
        moved = np.zeros(gates_m.size)
        moved[gate] = step
        more = _interpolate(gates_m, time + moved, ends_m)
        slopes.append((more - _interpolate(gates_m, time - moved, ends_m)) / (2 * step))
    return np.stack(slopes, axis=2)
