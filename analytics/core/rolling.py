"""How accuracy and spread move from attempt to attempt."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

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

_CHUNK = 8192
"""Attempts computed at a time, so that the passes over a window stay in the processor's cache."""


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
    Formulas as in `accuracy.accuracy`. Mean and SD by two passes over each window with the
    correction of Chan, Golub & LeVeque 1983, Am Stat 37:242-247 (from memory): running sums would
    lose every digit on values that are large against their spread.

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
    runs = conventions.run_index(revision, n=toe.size)
    first_of_run = np.searchsorted(runs, runs, side="left")
    reach = np.minimum(np.arange(toe.size) - first_of_run, window - 1)
    measured = ~np.isnan(toe)
    n = reach + 1
    n_measured = _window_counts(measured, reach)
    n_no_jumps = _window_counts(beyond, reach)
    n_on_board = _window_counts((toe >= 0) & (toe <= BOARD_WIDTH_M), reach)
    n_known = _window_counts(measured | beyond, reach)
    bias, sd = _mean_and_sd(toe - aim, reach, n_measured, window)
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


def _window_counts(flags: conventions.BoolArray, reach: IntArray) -> IntArray:
    """Count the flags in each window; running sums of whole numbers are exact."""
    running = np.concatenate([[0], np.cumsum(flags, dtype=np.int64)])
    position = np.arange(flags.size)
    return np.asarray(running[position + 1] - running[position - reach], dtype=np.int64)


def _mean_and_sd(
    values: FloatArray, reach: IntArray, n_valid: IntArray, window: int
) -> tuple[FloatArray, FloatArray]:
    mean = np.full(values.size, np.nan)
    sd = np.full(values.size, np.nan)
    for start in range(0, values.size, _CHUNK):
        stop = min(start + _CHUNK, values.size)
        lead = min(start, window - 1)
        chunk = slice(start, stop)
        mean[chunk], sd[chunk] = _chunk_mean_and_sd(
            values[start - lead : stop], lead, reach[chunk], n_valid[chunk]
        )
    return mean, sd


def _chunk_mean_and_sd(
    values: FloatArray, lead: int, reach: IntArray, n_valid: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return mean and SD of the windows that end at ``values[lead:]``."""
    deepest = int(reach.max())
    present = ~np.isnan(values)
    filled = np.where(present, values, 0.0)
    weights = present.astype(np.float64)
    all_full = bool(present.all()) and int(reach.min()) == deepest
    counts = np.maximum(n_valid, 1).astype(np.float64)
    total = np.zeros(counts.size)
    for lag in range(deepest + 1):
        part = _earlier(filled, lag, lead)
        total += part if all_full else np.where(reach >= lag, part, 0.0)
    mean = total / counts
    squares = np.zeros(counts.size)
    left = np.zeros(counts.size)
    for lag in range(deepest + 1):
        deviation = _earlier(filled, lag, lead) - mean
        if not all_full:
            deviation *= _earlier(weights, lag, lead) * (reach >= lag)
        left += deviation
        squares += deviation * deviation
    mean += left / counts
    variance = (squares - left * left / counts) / np.maximum(n_valid - 1, 1)
    return mean, np.sqrt(np.maximum(variance, 0.0))


def _earlier(values: FloatArray, lag: int, lead: int) -> FloatArray:
    """Return what stood `lag` places before each of ``values[lead:]``.

    Where nothing stood there the first values fill the place; their windows do not reach it.
    """
    if lag <= lead:
        return values[lead - lag : values.size - lag]
    missing = lag - lead
    return np.concatenate([values[:missing], values[: values.size - lead - missing]])


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
