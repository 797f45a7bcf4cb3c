"""Did the level of a series shift once, when, and by how much?

The question that is asked after the fact, of a whole season. The charts of `following` ask it
session by session, against the aim; this looks back at all sessions at once and compares them
with each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, stats

from analytics.core import conventions
from analytics.core.conventions import (
    DEFAULT_LEVEL,
    NO_SPREAD_M,
    FloatArray,
    IntArray,
    Interval,
    NotEnoughAttempts,
)

MIN_POINTS = 10
MIN_ON_EACH_SIDE = 3
"""Points in all and on each side of a shift; ours. Two wild sessions at the end of a season are no
new level."""

DEFAULT_SURE = 0.95
N_PERMUTATIONS = 999

_CHUNK_VALUES = 1_000_000
"""Values permuted at a time, so that a long series does not fill the memory."""


@dataclass(frozen=True, slots=True)
class Shift:
    """Where a series shifted and how far.

    Attributes
    ----------
    after
        Position of the first point of the later part, in the array that was given: the most
        likely one.
    earliest, latest
        First and last position of the smallest set of splits that holds the true one with the
        level of `interval_m`.
    change_m, interval_m
        Mean after less mean before, and its interval; both allow for the date being uncertain.
    """

    after: int
    earliest: int
    latest: int
    change_m: float
    interval_m: Interval


@dataclass(frozen=True, slots=True)
class BreakSearch:
    """What the search for one shift found.

    Attributes
    ----------
    n
        Points that were looked at.
    largest_f
        F of the best split; None where it leaves nothing unexplained.
    p
        How often the same points in chance order hold a split at least as good.
    shift
        None where no shift is shown: the best of many splits always looks like something.
    """

    n: int
    largest_f: float | None
    p: float
    shift: Shift | None


def find_break(
    points_m: npt.ArrayLike,
    *,
    rng: np.random.Generator,
    sure: float = DEFAULT_SURE,
    level: float = DEFAULT_LEVEL,
    min_on_each_side: int = MIN_ON_EACH_SIDE,
    n_permutations: int = N_PERMUTATIONS,
) -> BreakSearch | NotEnoughAttempts:
    """Look for one lasting shift of level in a series.

    Parameters
    ----------
    points_m
        Shape (n,), one value for each session in order, such as the mean error of the session
        in metres; NaN is left out. Single attempts only if sessions do not differ.
    rng
        For the permutations.
    sure
        A shift is shown when ``p <= 1 - sure``.
    level
        Of the interval and of the range of dates.
    min_on_each_side
        Points that each part must have.
    n_permutations
        More make p finer: it comes in steps of ``1 / (n_permutations + 1)``.

    Returns
    -------
    BreakSearch or NotEnoughAttempts
        `MIN_POINTS` points are needed, and twice `min_on_each_side`.

    Raises
    ------
    ValueError
        Other than one dimension, infinite values, `sure` or `level` outside (0, 1), fewer than 1
        point on a side or 1 permutation, or too few permutations ever to be so sure.

    Notes
    -----
    Least squares: for each split the squares about the two means, and
    ``F = (n - 2) (total - split) / split``. The largest of many F is not distributed as F(1, n-2):
    held against that, 22 to 34 % of series of 20 to 40 points without any shift "have" one
    (simulated, at least 5 points on each side; the 5 % limit is then 8.6 to 9.0 instead of 4.1 to
    4.4). So p comes from the points themselves in chance order: exact for points that are alike
    and independent, normal or not (Edgington 1980, Randomization Tests, from memory). Points that
    hang together in time, or a steady drift, look like a shift, too.

    Which split it was, given that there was one: with flat priors on date, both means and the
    logarithm of the SD the chance of a split after k points goes with
    ``(k (n - k))^(-1/2) split^(-(n-2)/2)``, and the change given the split is Student t with n - 2
    degrees of freedom (Smith 1975, Biometrika 62:407-416, from memory). The interval is that of
    the mixture, `change_m` its mean.

    Edge cases: points without any spread have p 1. A shift that is looked at only because it was
    large is probably a little smaller than it looks.

    Examples
    --------
    >>> points = [0.02, -0.03, 0.01, 0.00, -0.02, 0.03, 0.11, 0.14, 0.09, 0.12, 0.13, 0.10]
    >>> found = find_break(points, rng=np.random.default_rng(1))
    >>> found.p, found.shift.after, round(found.shift.change_m, 3)
    (0.002, 6, 0.113)
    """
    points = np.asarray(points_m, dtype=np.float64)
    _check_search(points, sure, min_on_each_side, n_permutations)
    conventions.check_level(level)
    positions = np.flatnonzero(~np.isnan(points))
    values = points[positions]
    needed = max(MIN_POINTS, 2 * min_on_each_side)
    if values.size < needed:
        return NotEnoughAttempts(n=int(values.size), needed=needed)
    n = values.size
    left = conventions.centred(values, conventions.group_by(None, n=n))
    before = np.arange(min_on_each_side, n - min_on_each_side + 1)
    total = float(left @ left)
    floor = n * NO_SPREAD_M**2
    explained = _explained(left[None, :], before)[0]
    best = float(explained.max())
    p = 1.0 if total <= floor else _chance_of_as_good(left, before, best, rng, n_permutations)
    unexplained = total - best
    shift = None
    if p <= 1 - sure + 1e-12:
        shift = _describe(left, before, positions, np.maximum(total - explained, floor), level)
    return BreakSearch(
        n=n,
        largest_f=(n - 2) * best / unexplained if unexplained > floor else None,
        p=p,
        shift=shift,
    )


def _explained(left: FloatArray, before: IntArray) -> FloatArray:
    """Return what each split takes from the squares of centred rows, shape (rows, splits)."""
    n = left.shape[1]
    sums = np.cumsum(left, axis=1)[:, before - 1]
    return np.asarray(sums**2 * (n / (before * (n - before))), dtype=np.float64)


def _chance_of_as_good(
    left: FloatArray,
    before: IntArray,
    best: float,
    rng: np.random.Generator,
    n_permutations: int,
) -> float:
    # The same split in another order sums up in another order.
    as_good = best * (1 - 1e-9)
    count, done = 0, 0
    while done < n_permutations:
        rows = min(n_permutations - done, max(1, _CHUNK_VALUES // left.size))
        permuted = rng.permuted(np.broadcast_to(left, (rows, left.size)), axis=1)
        count += int(np.count_nonzero(_explained(permuted, before).max(axis=1) >= as_good))
        done += rows
    # The order that was seen is one of those possible.
    return (count + 1) / (n_permutations + 1)


def _describe(
    left: FloatArray,
    before: IntArray,
    positions: IntArray,
    unexplained: FloatArray,
    level: float,
) -> Shift:
    n = left.size
    log_chance = -0.5 * np.log(before * (n - before)) - 0.5 * (n - 2) * np.log(unexplained)
    chance = np.exp(log_chance - log_chance.max())
    chance /= chance.sum()
    # The mean before and after are opposite, so many times the sum over the first part.
    change = -np.cumsum(left)[before - 1] * n / (before * (n - before))
    standard_error = np.sqrt(unexplained / (n - 2) * n / (before * (n - before)))
    likely = _smallest_set(chance, level)
    tail = (1 - level) / 2
    return Shift(
        after=int(positions[before[np.argmax(chance)]]),
        earliest=int(positions[before[likely.min()]]),
        latest=int(positions[before[likely.max()]]),
        change_m=float(chance @ change),
        interval_m=Interval(
            low=_mixture_quantile(tail, chance, change, standard_error, n - 2),
            high=_mixture_quantile(1 - tail, chance, change, standard_error, n - 2),
            level=level,
        ),
    )


def _smallest_set(chance: FloatArray, level: float) -> IntArray:
    """Return the places of the likeliest splits that together reach the level."""
    order = np.argsort(-chance, kind="stable")
    enough = int(np.searchsorted(np.cumsum(chance[order]), level)) + 1
    return order[:enough]


def _mixture_quantile(
    share: float, chance: FloatArray, place: FloatArray, scale: FloatArray, df: int
) -> float:
    kept = chance > 1e-12
    chance, place, scale = chance[kept] / chance[kept].sum(), place[kept], scale[kept]
    ends = place + scale * float(stats.t.ppf(share, df))
    low, high = float(ends.min()), float(ends.max())
    if high - low <= NO_SPREAD_M:
        return low

    def beyond(x: float) -> float:
        return float(chance @ stats.t.cdf((x - place) / scale, df)) - share

    # Each part reaches its share at its own end, so the mixture does between the outermost two.
    return float(optimize.brentq(beyond, low - NO_SPREAD_M, high + NO_SPREAD_M))


def _check_search(
    points: FloatArray, sure: float, min_on_each_side: int, n_permutations: int
) -> None:
    if points.ndim != 1:
        raise ValueError(f"points_m must have one dimension, got shape {points.shape}")
    conventions.check_not_infinite(points, name="points_m")
    if not 0 < sure < 1:
        raise ValueError(f"sure must lie between 0 and 1, got {sure}")
    if min_on_each_side < 1:
        raise ValueError(f"min_on_each_side must be at least 1, got {min_on_each_side}")
    if n_permutations < 1 or 1 / (n_permutations + 1) > 1 - sure + 1e-12:
        raise ValueError(f"{n_permutations} permutations are too few to be {sure} sure")
