"""How accuracy and spread move from attempt to attempt."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import conventions
from analytics.core.conventions import (
    BOARD_WIDTH_M,
    DEFAULT_AIM_M,
    DEFAULT_LEVEL,
    FloatArray,
    IntArray,
)

DEFAULT_WINDOW = 20
DEFAULT_MIN_VALID = 5

_CHUNK = 32768
"""Values computed at a time, so that the passes over them stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class RollingFigures:
    """Figures after each attempt over the window that ends there; all of shape (n,).

    Attributes
    ----------
    n, n_measured, n_no_jumps, n_on_board
        Attempts in the window, with a measured toe, no jumps, toes on the board.
    bias_m, bias_low_m, bias_high_m
        Mean error of the measured toes against the aim, with its t interval.
    sd_m, sd_low_m, sd_high_m
        SD of the errors of the measured toes, with its chi-square interval.
    share_on_board, share_on_board_low, share_on_board_high
        Share of the measured and the no jumps, with its Wilson interval.
    share_no_jump, share_no_jump_low, share_no_jump_high
        Share of all attempts, with its Wilson interval.
    """

    n: IntArray
    n_measured: IntArray
    n_no_jumps: IntArray
    n_on_board: IntArray
    bias_m: FloatArray
    bias_low_m: FloatArray
    bias_high_m: FloatArray
    sd_m: FloatArray
    sd_low_m: FloatArray
    sd_high_m: FloatArray
    share_on_board: FloatArray
    share_on_board_low: FloatArray
    share_on_board_high: FloatArray
    share_no_jump: FloatArray
    share_no_jump_low: FloatArray
    share_no_jump_high: FloatArray


@dataclass(frozen=True, slots=True)
class RollingMeans:
    """Means after each attempt over the window that ends there.

    Attributes
    ----------
    n
        Shape (n,): measured attempts in the window.
    mean, low, high
        Of the shape of the values: their mean with its t interval.
    sd
        Of that shape: their SD from attempt to attempt.
    """

    n: IntArray
    mean: FloatArray
    low: FloatArray
    high: FloatArray
    sd: FloatArray


def rolling_means(
    values: npt.ArrayLike,
    *,
    revision: npt.ArrayLike | None = None,
    window: int = DEFAULT_WINDOW,
    min_valid: int = DEFAULT_MIN_VALID,
    level: float = DEFAULT_LEVEL,
) -> RollingMeans:
    """Return mean and SD after each attempt over the last `window` attempts.

    Position ``i`` sees attempts ``i - window + 1`` to ``i`` only, as in `rolling_figures`.

    Parameters
    ----------
    values
        Shape (n,), or (n, c) for several quantities of the same attempts, any units; NaN where not
        measured. An attempt counts when all of its quantities were measured, so that their means
        can be compared.
    revision
        Shape (n,), plan revision of each attempt: the window restarts where it changes.
    window
        Attempts in a full window, measured or not.
    min_valid
        Measured attempts below which mean and SD are NaN.
    level
        Of the interval.

    Returns
    -------
    RollingMeans
        NaN means not enough to say.

    Raises
    ------
    ValueError
        Another shape, infinite values, ``window < 2``, `min_valid` outside 2 to `window`, a level
        outside (0, 1).

    Notes
    -----
    Mean and SD of two neighbouring stretches of attempts are merged into those of both, as Chan,
    Golub & LeVeque 1983, Am Stat 37:242-247, add up sums of squares (from memory): 1 and 1 make 2,
    2 and 2 make 4, until the window is full. Each is kept as a distance from the latest value of
    its stretch. Nothing that has left the window is ever subtracted, so an outlier leaves no trace,
    and values that are large against their spread (NIST StRD, NumAcc3 and NumAcc4) lose no digit.

    Examples
    --------
    >>> moved = rolling_means([9.0, 9.2, float("nan"), 9.4], window=3, min_valid=2)
    >>> moved.mean.round(2).tolist(), moved.n.tolist()
    ([nan, 9.1, 9.1, 9.3], [1, 2, 2, 2])
    """
    array = np.asarray(values, dtype=np.float64)
    if array.ndim not in {1, 2}:
        raise ValueError(f"values need the shape (n,) or (n, c), got {array.shape}")
    conventions.check_not_infinite(array, name="values")
    _check_window(window, min_valid)
    conventions.check_level(level)
    reach = _reach(revision, n=array.shape[0], window=window)
    n, mean, sd = _window_moments(np.atleast_2d(array.T), reach, window)
    too_few = n < min_valid
    mean[:, too_few] = np.nan
    sd[:, too_few] = np.nan
    half_width, _, _ = _interval_factors(window, level)
    half = half_width[n] * sd
    mean, low, high, sd = (
        each.T.reshape(array.shape) for each in (mean, mean - half, mean + half, sd)
    )
    return RollingMeans(n=n, mean=mean, low=low, high=high, sd=sd)


def rolling_figures(
    board_toe_m: npt.ArrayLike,
    no_jump: npt.ArrayLike,
    *,
    aim_m: npt.ArrayLike = DEFAULT_AIM_M,
    revision: npt.ArrayLike | None = None,
    window: int = DEFAULT_WINDOW,
    min_valid: int = DEFAULT_MIN_VALID,
    level: float = DEFAULT_LEVEL,
) -> RollingFigures:
    """Return the figures after each attempt over the last `window` attempts.

    Position ``i`` sees attempts ``i - window + 1`` to ``i`` only: a later attempt never changes an
    earlier figure, and a call with the attempts from ``i - window + 1`` on gives the same figures
    from position ``i`` on. The window restarts where the plan revision changes.

    Parameters
    ----------
    board_toe_m
        Shape (n,), metres behind the take-off line, in the order of the attempts; NaN where not
        measured.
    no_jump
        Shape (n,), booleans. A toe measured beyond the line counts as a no jump too.
    aim_m
        Toe-to-board distance of the plan: one number, or shape (n,).
    revision
        Shape (n,), plan revision of each attempt.
    window
        Attempts in a full window, measured or not.
    min_valid
        Values below which a figure is NaN: measured toes for bias and SD, attempts for shares.
    level
        Of the intervals.

    Returns
    -------
    RollingFigures
        NaN means not enough to say.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite distances, ``window < 2``, `min_valid` outside
        2 to `window`, a level outside (0, 1).

    Notes
    -----
    Formulas as in `accuracy.accuracy`, mean and SD as in `rolling_means`.

    Examples
    --------
    >>> toe = [0.10, 0.06, float("nan"), 0.02, 0.06, 0.11]
    >>> figures = rolling_figures(toe, [False] * 6, aim_m=0.06, window=4, min_valid=3)
    >>> figures.bias_m.round(4).tolist()
    [nan, nan, nan, 0.0, -0.0133, 0.0033]
    """
    toe, beyond = conventions.check_attempts(board_toe_m, no_jump)
    aim = conventions.check_aim(aim_m, n=toe.size)
    _check_window(window, min_valid)
    conventions.check_level(level)
    reach = _reach(revision, n=toe.size, window=window)
    measured = ~np.isnan(toe)
    n = reach + 1
    n_no_jumps = _window_counts(beyond, reach)
    n_on_board = _window_counts((toe >= 0) & (toe <= BOARD_WIDTH_M), reach)
    n_known = _window_counts(measured | beyond, reach)
    n_measured, means, sds = _window_moments((toe - aim)[np.newaxis], reach, window)
    bias, sd = means[0], sds[0]
    too_few = n_measured < min_valid
    bias[too_few] = np.nan
    sd[too_few] = np.nan
    half_width, low_factor, high_factor = _interval_factors(window, level)
    half = half_width[n_measured] * sd
    share_on_board = _share(n_on_board, n_known, window=window, min_valid=min_valid, level=level)
    share_no_jump = _share(n_no_jumps, n, window=window, min_valid=min_valid, level=level)
    return RollingFigures(
        n=n,
        n_measured=n_measured,
        n_no_jumps=n_no_jumps,
        n_on_board=n_on_board,
        bias_m=bias,
        bias_low_m=bias - half,
        bias_high_m=bias + half,
        sd_m=sd,
        sd_low_m=sd * low_factor[n_measured],
        sd_high_m=sd * high_factor[n_measured],
        share_on_board=share_on_board[0],
        share_on_board_low=share_on_board[1],
        share_on_board_high=share_on_board[2],
        share_no_jump=share_no_jump[0],
        share_no_jump_low=share_no_jump[1],
        share_no_jump_high=share_no_jump[2],
    )


def window_counts(
    flags: npt.ArrayLike,
    *,
    revision: npt.ArrayLike | None = None,
    window: int = DEFAULT_WINDOW,
) -> IntArray:
    """Return how many flags are true in each window, of the windows of `rolling_means`.

    Parameters
    ----------
    flags
        Shape (n,), booleans.
    revision, window
        As in `rolling_means`.

    Raises
    ------
    ValueError
        Another shape, or labels of another length.

    Examples
    --------
    >>> window_counts([True, False, True, True], window=2).tolist()
    [1, 1, 1, 2]
    """
    array = np.asarray(flags, dtype=np.bool_)
    if array.ndim != 1:
        raise ValueError(f"flags need the shape (n,), got {array.shape}")
    return _window_counts(array, _reach(revision, n=array.size, window=window))


def _window_counts(flags: conventions.BoolArray, reach: IntArray) -> IntArray:
    """Count the flags in each window; running sums of whole numbers are exact."""
    running = np.concatenate([[0], np.cumsum(flags, dtype=np.int64)])
    position = np.arange(flags.size)
    return np.asarray(running[position + 1] - running[position - reach], dtype=np.int64)


class _Stretch(NamedTuple):
    """The values of some neighbouring attempts, for every place where such a stretch may end.

    How many attempts they are, shape (m,) or one number where every stretch is full; and of shape
    (c, m) the latest value, how far the mean lies above it, and the sum of squared deviations.
    Without attempts the latest is any number, and the others are 0.
    """

    number: FloatArray | float
    latest: FloatArray
    offset: FloatArray
    squares: FloatArray


def _reach(revision: npt.ArrayLike | None, *, n: int, window: int) -> IntArray:
    """Return how many attempts before each one its window holds."""
    place = np.arange(n)
    runs = conventions.run_index(revision, n=n)
    starts = np.diff(runs, prepend=-1) > 0
    first_of_run = np.maximum.accumulate(np.where(starts, place, 0))
    return np.asarray(np.minimum(place - first_of_run, window - 1), dtype=np.int64)


def _window_moments(
    values: FloatArray, reach: IntArray, window: int
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return of values of shape (c, n) the count, shape (n,), and means and SDs of each window."""
    lead = window - 1
    n_columns, n = values.shape
    count = np.empty(n, dtype=np.int64)
    mean, sd = np.empty((n_columns, n)), np.empty((n_columns, n))
    # Before the first attempt nothing was measured.
    values = np.concatenate([np.full((n_columns, lead), np.nan), values], axis=1)
    reach = np.concatenate([np.full(lead, lead), reach])
    starts_run = (reach == 0) & (np.arange(reach.size) > lead)
    step = max(_CHUNK // max(n_columns, 1), window)
    for start in range(0, n, step):
        stop = min(start + step, n)
        seen = slice(start, stop + lead)
        whole = _whole_window(
            values[:, seen], reach[seen] if starts_run[seen].any() else None, window
        )
        count[start:stop] = whole.number
        mean[:, start:stop] = whole.latest + whole.offset
        degrees = np.maximum(np.subtract(whole.number, 1.0), 1.0)
        sd[:, start:stop] = np.sqrt(whole.squares / degrees)
    return count, mean, sd


def _whole_window(values: FloatArray, reach: IntArray | None, window: int) -> _Stretch:
    """Return the windows that end at ``values[:, window - 1:]``.

    `reach` is given where a plan revision may cut a window short.
    """
    missing = np.isnan(values).any(axis=0)
    none = np.zeros(values.shape)
    if reach is None and not missing.any():
        double = _Stretch(1.0, values, none, none)
    else:
        double = _Stretch((~missing).astype(np.float64), np.where(missing, 0.0, values), none, none)
    # A window is put together of stretches of 1, 2, 4, ... attempts, the longest one the latest.
    parts = []
    length = 1
    while length <= window:
        if window & length:
            parts.append((length, double))
        if 2 * length <= window:
            double = _merge(double, double, length, reach)
        length *= 2
    size, whole = parts.pop()
    while parts:
        length, part = parts.pop()
        whole = _merge(whole, part, size, reach)
        size += length
    return whole


def _merge(late: _Stretch, early: _Stretch, lag: int, reach: IntArray | None) -> _Stretch:
    """Return each stretch of `late` together with the one of `early` that ends `lag` before it.

    All arrays end at the same attempt; the first places, with too little before them, are left off.
    """
    size = min(late.latest.shape[1], early.latest.shape[1] - lag)
    late = _Stretch(*(_ending(each, size, 0) for each in late))
    early = _Stretch(*(_ending(each, size, lag) for each in early))
    early_number, early_squares = early.number, early.squares
    if reach is not None:
        # A stretch of another plan revision counts for nothing.
        same = (reach[reach.size - size :] >= lag).astype(np.float64)
        early_number, early_squares = early_number * same, early_squares * same
    number = late.number + early_number
    share = early_number / np.maximum(number, 1.0)
    latest = late.latest
    if isinstance(late.number, np.ndarray):
        latest = np.where(late.number > 0, latest, early.latest)
    apart = (early.latest - latest) + (early.offset - late.offset)
    return _Stretch(
        number=number,
        latest=latest,
        offset=late.offset + apart * share,
        squares=late.squares + early_squares + apart * apart * (late.number * share),
    )


def _ending(part: Any, size: int, before: int) -> Any:
    """Return `size` places, the last one `before` places from the end; one number as it is."""
    if not isinstance(part, np.ndarray):
        return part
    stop = part.shape[-1] - before
    return part[..., stop - size : stop]


@lru_cache(maxsize=16)
def _interval_factors(window: int, level: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return by n = 0..window: t / sqrt(n), and the two chi-square factors."""
    n = np.arange(2, window + 1)
    tail = (1 - level) / 2
    half_width = stats.t.isf(tail, n - 1) / np.sqrt(n)
    low = np.sqrt((n - 1) / stats.chi2.isf(tail, n - 1))
    high = np.sqrt((n - 1) / stats.chi2.ppf(tail, n - 1))
    none = np.full(2, np.nan)
    tables = tuple(np.concatenate([none, factor]) for factor in (half_width, low, high))
    for table in tables:
        table.setflags(write=False)
    return tables[0], tables[1], tables[2]


@lru_cache(maxsize=16)
def _wilson_table(window: int, level: float) -> tuple[FloatArray, FloatArray]:
    """Return the ends of the Wilson interval by [n, hits], both 0..window."""
    n, hits = np.indices((window + 1, window + 1))
    low, high = conventions.wilson_bounds(np.minimum(hits, n), n, level=level)
    low.setflags(write=False)
    high.setflags(write=False)
    return low, high


def _share(
    hits: IntArray, counts: IntArray, *, window: int, min_valid: int, level: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    low_table, high_table = _wilson_table(window, level)
    low, high = low_table[counts, hits], high_table[counts, hits]
    share = hits / np.maximum(counts, 1)
    too_few = counts < min_valid
    for figure in (share, low, high):
        figure[too_few] = np.nan
    return share, low, high


def _check_window(window: int, min_valid: int) -> None:
    if window < 2:
        raise ValueError(f"window must be at least 2, got {window}")
    if not 2 <= min_valid <= window:
        raise ValueError(f"min_valid must lie between 2 and {window}, got {min_valid}")
