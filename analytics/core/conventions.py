"""Units, signs, results and groups that every figure shares.

Metres, seconds, float64. A toe-to-board distance is positive behind the take-off line (legal) and
negative beyond it (no jump), so a positive error means: landed short, farther from the pit.
Missing values are NaN and never an error by themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special, stats

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

BOARD_WIDTH_M = 0.20
"""Width of the take-off board in the running direction (World Athletics Technical Rules,
0.20 m with a tolerance of 0.002 m)."""

DEFAULT_AIM_M = 0.06
"""Toe-to-board distance that a plan wants unless it says otherwise. Our choice: for a spread of
0.08 m it is the fixed aim with the best expected best of six attempts."""

NO_SPREAD_M = 1e-9
"""Less than any tape or gate can show: what spreads no more does not spread."""

LARGEST = 1e100
"""No measure is larger; the squares of larger ones overflow."""

DEFAULT_LEVEL = 0.95
"""Confidence level of every interval unless another is asked for."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A range that covers the true value with probability `level`."""

    low: float
    high: float
    level: float


@dataclass(frozen=True, slots=True)
class NotEnoughAttempts:
    """What stands in place of a figure that too few attempts would make look firm.

    >>> str(NotEnoughAttempts(n=3, needed=5))
    'not enough attempts (3 of 5)'
    """

    n: int
    needed: int

    def __str__(self) -> str:
        return f"not enough attempts ({self.n} of {self.needed})"


@dataclass(frozen=True, slots=True)
class Groups:
    """Attempts sorted into groups.

    Attributes
    ----------
    index
        Shape (n,): the group of each attempt, numbered by first appearance.
    counts
        Shape (g,): attempts in each group.
    """

    index: IntArray
    counts: IntArray

    @property
    def n_groups(self) -> int:
        """Number of groups."""
        return int(self.counts.size)


def group_by(*labels: npt.ArrayLike | None, n: int) -> Groups:
    """Sort attempts into groups that share all given labels.

    Parameters
    ----------
    *labels
        Each of shape (n,), or None for "all the same".
    n
        Number of attempts.

    Returns
    -------
    Groups
        Numbered in the order in which they appear.

    Raises
    ------
    ValueError
        Labels of another length.

    Examples
    --------
    >>> group_by([7, 7, 8], ["a", "b", "b"], n=3).index.tolist()
    [0, 1, 2]
    """
    joint = np.zeros(n, dtype=np.int64)
    for label in labels:
        if label is None:
            continue
        codes = _first_seen_codes(_check_labels(label, n=n))
        joint = joint * (int(codes.max(initial=0)) + 1) + codes
        joint = _first_seen_codes(joint)
    return Groups(index=joint, counts=np.bincount(joint).astype(np.int64))


def run_index(labels: npt.ArrayLike | None, *, n: int) -> IntArray:
    """Number the runs of equal neighbouring labels, from 0.

    Parameters
    ----------
    labels
        Shape (n,), or None for one run.
    n
        Number of attempts.

    Raises
    ------
    ValueError
        Labels of another length.

    Examples
    --------
    >>> run_index([1, 1, 2, 1], n=4).tolist()
    [0, 0, 1, 2]
    """
    if labels is None or n == 0:
        return np.zeros(n, dtype=np.int64)
    array = _check_labels(labels, n=n)
    return np.concatenate([[0], np.cumsum(array[1:] != array[:-1])]).astype(np.int64)


def group_means(values: FloatArray, groups: Groups) -> FloatArray:
    """Return the mean of each group, shape (g,), by two passes.

    The second pass adds the mean of what is left, which repairs the rounding of the first on
    values that are large against their spread (NIST StRD, NumAcc3 and NumAcc4).

    Examples
    --------
    >>> group_means(np.array([1.0, 3.0, 8.0]), group_by([1, 1, 2], n=3)).tolist()
    [2.0, 8.0]
    """
    sums = np.bincount(groups.index, weights=values, minlength=groups.n_groups)
    means = sums / groups.counts
    left = np.bincount(groups.index, weights=values - means[groups.index])
    return np.asarray(means + left / groups.counts, dtype=np.float64)


def centred(values: FloatArray, groups: Groups) -> FloatArray:
    """Return the values less the mean of their group; their degrees of freedom are n - g.

    Examples
    --------
    >>> centred(np.array([1.0, 3.0, 8.0]), group_by([1, 1, 2], n=3)).tolist()
    [-1.0, 1.0, 0.0]
    """
    return values - group_means(values, groups)[groups.index]


def t_interval(*, estimate: float, standard_error: float, df: float, level: float) -> Interval:
    """Return the Student t interval of an estimate.

    Examples
    --------
    >>> interval = t_interval(estimate=0.0, standard_error=1.0, df=2, level=0.95)
    >>> round(interval.high, 5)
    4.30265
    """
    half = float(stats.t.ppf(0.5 + level / 2, df)) * standard_error
    return Interval(low=estimate - half, high=estimate + half, level=level)


def chi_square_factors(*, df: float, level: float) -> tuple[float, float]:
    """Return what an SD is multiplied by for the low and the high end of its interval.

    Notes
    -----
    ``sqrt(df / chi2(1 - a/2, df))`` and ``sqrt(df / chi2(a/2, df))``, for normal values.

    Examples
    --------
    >>> low, high = chi_square_factors(df=9, level=0.95)
    >>> round(low, 5), round(high, 5)
    (0.68784, 1.82561)
    """
    tail = (1 - level) / 2
    # The quantiles that `stats.chi2` gives, which asks a hundred times as long about their shape.
    return (
        float(np.sqrt(df / special.chdtri(df, tail))),
        float(np.sqrt(df / (2 * special.gammaincinv(df / 2, tail)))),
    )


def sd_interval(*, sd: float, df: float, level: float) -> Interval:
    """Return the chi-square interval of a standard deviation with `df` degrees of freedom.

    Examples
    --------
    >>> round(sd_interval(sd=1.0, df=9, level=0.95).low, 5)
    0.68784
    """
    low, high = chi_square_factors(df=df, level=level)
    return Interval(low=sd * low, high=sd * high, level=level)


def wilson_interval(*, successes: int, n: int, level: float) -> Interval:
    """Return the Wilson score interval of a share.

    Notes
    -----
    Wilson 1927, J Am Stat Assoc 22:209-212, without continuity correction. With no attempt at
    all it is the whole range from 0 to 1.

    Examples
    --------
    >>> interval = wilson_interval(successes=0, n=10, level=0.95)
    >>> interval.low, round(interval.high, 4)
    (0.0, 0.2775)
    """
    low, high = wilson_bounds(np.array([successes]), np.array([n]), level=level)
    return Interval(low=float(low[0]), high=float(high[0]), level=level)


def wilson_bounds(
    successes: npt.ArrayLike, n: npt.ArrayLike, *, level: float
) -> tuple[FloatArray, FloatArray]:
    """Return the low and high ends of `wilson_interval` for arrays of counts.

    Examples
    --------
    >>> low, high = wilson_bounds([0, 5], [0, 10], level=0.95)
    >>> low.round(4).tolist(), high.round(4).tolist()
    ([0.0, 0.2366], [1.0, 0.7634])
    """
    hits = np.asarray(successes, dtype=np.float64)
    counts = np.asarray(n, dtype=np.float64)
    z = float(stats.norm.ppf(0.5 + level / 2))
    # Written with hits and misses, so that 0 and n give ends of exactly 0 and 1.
    total = counts + z * z
    half = z * np.sqrt(
        np.where(counts > 0, hits * (counts - hits), 0.0) / np.maximum(counts, 1) + z * z / 4
    )
    low = np.where(hits == 0, 0.0, (hits + z * z / 2 - half) / total)
    high = np.where(hits == counts, 1.0, (hits + z * z / 2 + half) / total)
    return low, high


def check_attempts(
    board_toe_m: npt.ArrayLike, no_jump: npt.ArrayLike
) -> tuple[FloatArray, BoolArray]:
    """Refuse arrays that are not one value for each attempt.

    Returns
    -------
    tuple
        Toe-to-board distances in metres (NaN where not measured), and whether each attempt was
        a no jump: judged so, or measured beyond the line.

    Raises
    ------
    ValueError
        Other than one dimension, different lengths, or an infinite distance.

    Examples
    --------
    >>> toe, beyond = check_attempts([0.1, -0.02, float("nan")], [False, False, True])
    >>> beyond.tolist()
    [False, True, True]
    """
    toe = np.asarray(board_toe_m, dtype=np.float64)
    judged = np.asarray(no_jump)
    if toe.ndim != 1 or judged.shape != toe.shape:
        raise ValueError(
            f"board_toe_m and no_jump need one value for each attempt, "
            f"got shapes {toe.shape} and {judged.shape}"
        )
    if judged.size and judged.dtype != np.bool_:
        raise ValueError(f"no_jump must hold booleans, got {judged.dtype}")
    check_not_infinite(toe, name="board_toe_m")
    return toe, judged.astype(np.bool_) | (toe < 0)


def check_aim(aim_m: npt.ArrayLike, *, n: int) -> FloatArray:
    """Refuse an aim that is not one finite number, or one for each attempt.

    Returns
    -------
    ndarray
        Shape (n,).

    Raises
    ------
    ValueError
        Another shape, or a value that is not finite.

    Examples
    --------
    >>> check_aim(0.06, n=2).tolist()
    [0.06, 0.06]
    """
    aim = np.asarray(aim_m, dtype=np.float64)
    if aim.shape not in {(), (n,)}:
        raise ValueError(f"aim_m must be one number or {n} of them, got shape {aim.shape}")
    if not np.all(np.isfinite(aim)):
        raise ValueError("aim_m must be finite")
    return np.broadcast_to(aim, (n,))


def check_not_infinite(values: FloatArray, *, name: str) -> None:
    """Refuse infinite values; NaN means missing and is welcome.

    Raises
    ------
    ValueError
        An infinite value, or one beyond `LARGEST`.

    Examples
    --------
    >>> check_not_infinite(np.array([1.0, np.nan]), name="toe_m")
    """
    if np.any(np.abs(values) > LARGEST):
        raise ValueError(f"{name} must not hold infinite values, nor any beyond {LARGEST:g}")


def check_level(level: float) -> None:
    """Refuse a confidence level that is not inside (0, 1).

    Raises
    ------
    ValueError
        0, 1 or outside.

    Examples
    --------
    >>> check_level(0.95)
    """
    if not 0 < level < 1:
        raise ValueError(f"level must lie between 0 and 1, got {level}")


def _check_labels(labels: npt.ArrayLike, *, n: int) -> npt.NDArray[np.generic]:
    array = np.asarray(labels)
    if array.shape != (n,):
        raise ValueError(f"labels need one value for each of {n} attempts, got {array.shape}")
    return array


def _first_seen_codes(array: npt.NDArray[np.generic]) -> IntArray:
    _, first, inverse = np.unique(array, return_index=True, return_inverse=True)
    rank = np.empty(first.size, dtype=np.int64)
    rank[np.argsort(first)] = np.arange(first.size)
    return np.asarray(rank[inverse.reshape(-1)], dtype=np.int64)
