"""Did a season change anything? Its last attempts held against its first."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from analytics.core import comparing, conventions
from analytics.core.comparing import BlockComparison, BlockFigures
from analytics.core.conventions import (
    DEFAULT_AIM_M,
    DEFAULT_LEVEL,
    BoolArray,
    Interval,
    NotEnoughAttempts,
)

MOST_ATTEMPTS = 20
"""Attempts that make an end of a season; ours. The session that reaches it is taken whole."""


class Change(StrEnum):
    """Whether a figure is shown to have become another one."""

    LOWER = "lower"
    HIGHER = "higher"
    NOT_SHOWN = "not_shown"


@dataclass(frozen=True, slots=True)
class MeanChange:
    """A mean at the start of a season and at its end.

    Attributes
    ----------
    n_first, n_last
        Measured attempts of each end.
    first, first_interval, last, last_interval
        The means, in the unit of the values, as uncertain as sessions make them.
    change, change_interval
        The last less the first.
    shown
        Whether the interval of the change leaves out 0, and on which side.
    """

    n_first: int
    n_last: int
    first: float
    first_interval: Interval
    last: float
    last_interval: Interval
    change: float
    change_interval: Interval
    shown: Change


@dataclass(frozen=True, slots=True)
class BoardChange:
    """Bias and spread at the board at the start of a season and at its end.

    Attributes
    ----------
    n_first, n_last
        Attempts of each end that say something of the board.
    bias_m
        The mean errors, positive: landed short.
    sd_first_m, sd_first_interval, sd_last_m, sd_last_interval
        SD within sessions.
    sd_ratio, sd_ratio_interval
        The last by the first; None where an end has no spread at all.
    spread_shown
        Whether the interval of the ratio leaves out 1, and on which side.
    """

    n_first: int
    n_last: int
    bias_m: MeanChange
    sd_first_m: float
    sd_first_interval: Interval
    sd_last_m: float
    sd_last_interval: Interval
    sd_ratio: float | None
    sd_ratio_interval: Interval | None
    spread_shown: Change


def season_ends(
    session: npt.ArrayLike, *, most: int = MOST_ATTEMPTS
) -> tuple[BoolArray, BoolArray]:
    """Return which attempts make the start of a season, and which its end.

    Parameters
    ----------
    session
        Shape (n,), labels in the order of the attempts.
    most
        Attempts from which on an end is long enough.

    Returns
    -------
    tuple
        Two arrays of shape (n,). Whole sessions, the fewest that hold `most` attempts; where the
        season is shorter than that, the first and the last half of its sessions. The middle one of
        an odd number is in neither: no session may be on both sides, or its good or bad day would
        be, too.

    Raises
    ------
    ValueError
        Other than one dimension, `most` below 1.

    Examples
    --------
    >>> first, last = season_ends([1, 1, 2, 2, 3, 3], most=2)
    >>> first.tolist(), last.tolist()
    ([True, True, False, False, False, False], [False, False, False, False, True, True])
    >>> [int(each.sum()) for each in season_ends([1, 1, 2, 2, 3, 3], most=20)]
    [2, 2]
    """
    labels = np.asarray(session)
    if labels.ndim != 1:
        raise ValueError(f"session needs one label for each attempt, got shape {labels.shape}")
    if most < 1:
        raise ValueError(f"most must be at least 1, got {most}")
    groups = conventions.group_by(labels, n=labels.size)
    n = groups.n_groups
    n_first = _sessions_with(groups.counts, most)
    n_last = _sessions_with(groups.counts[::-1], most)
    if n_first + n_last > n:
        n_first = n_last = n // 2
    return groups.index < n_first, groups.index >= n - n_last


def _sessions_with(counts: npt.NDArray[np.int64], most: int) -> int:
    """Return how many sessions hold `most` attempts; more than there are where none do."""
    return int(np.searchsorted(np.cumsum(counts), most)) + 1


def change_of_mean(
    values: npt.ArrayLike,
    *,
    session: npt.ArrayLike,
    most: int = MOST_ATTEMPTS,
    level: float = DEFAULT_LEVEL,
) -> MeanChange | NotEnoughAttempts:
    """Hold the mean of a season's last attempts against that of its first.

    Parameters
    ----------
    values
        Shape (n,), in the order of the attempts, such as speeds; NaN is left out, so that an end is
        made of measured attempts.
    session
        Shape (n,), labels.
    most
        As in `season_ends`.
    level
        Of the intervals.

    Returns
    -------
    MeanChange or NotEnoughAttempts
        Each end needs what `comparing.block_figures` needs.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, a level outside (0, 1).

    Notes
    -----
    Means and Welch's interval as in `comparing`, sessions told apart: a mean is as uncertain as the
    days make it. The arithmetic knows no unit.

    Edge cases: one session alone has no ends: not enough attempts (0 of 5).

    Examples
    --------
    >>> speed = [8.0, 8.1, 8.2, 8.1, 8.1, 8.4, 8.5, 8.6, 8.5, 8.5]
    >>> found = change_of_mean(speed, session=[1] * 5 + [2] * 5)
    >>> round(found.change, 2), found.shown.value
    (0.4, 'higher')
    """
    conventions.check_level(level)
    array = np.asarray(values, dtype=np.float64)
    labels = np.asarray(session)
    if array.ndim != 1 or labels.shape != array.shape:
        raise ValueError(
            f"values and session need one for each attempt, got {array.shape} and {labels.shape}"
        )
    known = ~np.isnan(array)
    array, labels = array[known], labels[known]
    blocks = []
    for part in season_ends(labels, most=most):
        block = comparing.block_figures(
            array[part], np.zeros(int(part.sum()), dtype=np.bool_), aim_m=0.0, session=labels[part]
        )
        if isinstance(block, NotEnoughAttempts):
            return block
        blocks.append(block)
    first, last = blocks
    return _mean_change(
        first, last, comparing.compare_blocks(first, last, level=level), level=level
    )


def change_at_board(
    board_toe_m: npt.ArrayLike,
    no_jump: npt.ArrayLike,
    *,
    session: npt.ArrayLike,
    aim_m: npt.ArrayLike = DEFAULT_AIM_M,
    revision: npt.ArrayLike | None = None,
    most: int = MOST_ATTEMPTS,
    level: float = DEFAULT_LEVEL,
) -> BoardChange | NotEnoughAttempts:
    """Hold bias and spread at the board of a season's last attempts against those of its first.

    Parameters
    ----------
    board_toe_m, no_jump, aim_m, revision
        As in `comparing.block_figures`, shape (n,), in the order of the attempts.
    session
        Shape (n,), labels.
    most, level
        As in `change_of_mean`.

    Returns
    -------
    BoardChange or NotEnoughAttempts
        Each end needs what `comparing.block_figures` needs.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite distances, a level outside (0, 1).

    Notes
    -----
    A change counts as shown where its interval leaves out what no change would be, 0 or a ratio
    of 1. That is one look at one season: looked at for two figures of twenty athletes, two of the
    forty will be "shown" by chance alone.

    Edge cases: an end without any spread has no ratio, and nothing is shown of the spread.

    Examples
    --------
    >>> toe = [-0.10, 0.22, 0.02, 0.12, 0.06, 0.20, 0.05, 0.06, 0.07, 0.06, 0.06, 0.05]
    >>> found = change_at_board(toe, [False] * 12, session=[1] * 6 + [2] * 6)
    >>> round(found.sd_first_m, 3), round(found.sd_last_m, 3), found.spread_shown.value
    (0.12, 0.008, 'lower')
    """
    conventions.check_level(level)
    toe, beyond = conventions.check_attempts(board_toe_m, no_jump)
    aim = conventions.check_aim(aim_m, n=toe.size)
    labels = np.asarray(session)
    if labels.shape != toe.shape:
        raise ValueError(f"session needs one label for each attempt, got shape {labels.shape}")
    revisions = None if revision is None else np.asarray(revision)
    says = ~np.isnan(toe) | beyond
    blocks = []
    for part in season_ends(labels[says], most=most):
        block = comparing.block_figures(
            toe[says][part],
            beyond[says][part],
            aim_m=aim[says][part],
            revision=None if revisions is None else revisions[says][part],
            session=labels[says][part],
        )
        if isinstance(block, NotEnoughAttempts):
            return block
        blocks.append(block)
    first, last = blocks
    compared = comparing.compare_blocks(first, last, level=level)
    return BoardChange(
        n_first=first.n,
        n_last=last.n,
        bias_m=_mean_change(first, last, compared, level=level),
        sd_first_m=first.sd_m,
        sd_first_interval=conventions.sd_interval(sd=first.sd_m, df=first.df, level=level),
        sd_last_m=last.sd_m,
        sd_last_interval=conventions.sd_interval(sd=last.sd_m, df=last.df, level=level),
        sd_ratio=compared.sd_ratio,
        sd_ratio_interval=compared.sd_ratio_interval,
        spread_shown=_shown(compared.sd_ratio_interval, unchanged=1.0),
    )


def _mean_change(
    first: BlockFigures, last: BlockFigures, compared: BlockComparison, *, level: float
) -> MeanChange:
    return MeanChange(
        n_first=first.n,
        n_last=last.n,
        first=first.bias_m,
        first_interval=_interval_of(first, level=level),
        last=last.bias_m,
        last_interval=_interval_of(last, level=level),
        change=compared.bias_change_m,
        change_interval=compared.bias_change_interval,
        shown=_shown(compared.bias_change_interval, unchanged=0.0),
    )


def _interval_of(block: BlockFigures, *, level: float) -> Interval:
    return conventions.t_interval(
        estimate=block.bias_m,
        standard_error=block.bias_standard_error_m,
        df=block.bias_df,
        level=level,
    )


def _shown(interval: Interval | None, *, unchanged: float) -> Change:
    if interval is None or interval.low <= unchanged <= interval.high:
        return Change.NOT_SHOWN
    return Change.LOWER if interval.high < unchanged else Change.HIGHER
