"""Was the advice about the start mark right, as far as the attempts after it say?"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analytics.core import comparing, conventions
from analytics.core.comparing import BlockFigures
from analytics.core.conventions import DEFAULT_LEVEL, Interval, NotEnoughAttempts

MARK_STANDS_M = 0.02
"""Start marks that differ by no more are one mark: what a tape and a foot on it allow; ours."""

SHARE_OF_MOVE = 0.5
"""A mark that went this share of the advised move, or more, was moved as advised; ours."""


class Verdict(StrEnum):
    """What the attempts after an advice say about it."""

    RIGHT = "right"
    WRONG = "wrong"
    NOT_SHOWN = "not_shown"
    NOT_TRIED = "not_tried"
    NOT_ENOUGH = "not_enough"


class MarkAfter(StrEnum):
    """What became of the start mark."""

    AS_ADVISED = "as_advised"
    LEFT = "left"
    OTHERWISE = "otherwise"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Look:
    """What came after an advice.

    Attributes
    ----------
    verdict
        Right, wrong, not shown either way, not tried (the mark was moved otherwise than advised, or
        nobody knows where the runs began), or not enough attempts to say.
    mark
        What became of the start mark; None for advice of other kinds.
    bias_before_interval, bias_after_interval
        Of the mean errors; None for a block that says too little.
    bias_change_m, bias_change_interval
        Bias after less bias before, positive: lands shorter than before; None as above.
    sd_ratio, sd_ratio_interval
        SD at the board after over that before, for advice on what to practise; None as above.
    sd_after_interval
        Of the SD at the board after, for advice on the number of steps; None as above.
    """

    verdict: Verdict
    mark: MarkAfter | None
    bias_before_interval: Interval | None
    bias_after_interval: Interval | None
    bias_change_m: float | None
    bias_change_interval: Interval | None
    sd_ratio: float | None = None
    sd_ratio_interval: Interval | None = None
    sd_after_interval: Interval | None = None


def look_back(
    before: BlockFigures | NotEnoughAttempts,
    after: BlockFigures | NotEnoughAttempts,
    *,
    move_m: float,
    moved_m: float,
    limit_m: float,
    level: float = DEFAULT_LEVEL,
) -> Look:
    """Say whether an advice about the start mark was right.

    Parameters
    ----------
    before, after
        `comparing.block_figures` of the errors at the place that the advice was taken from, of
        attempts that share no attempt and within each of which the start mark stood.
    move_m
        The advised move, negative toward the pit; 0 for the advice to keep the mark.
    moved_m
        By how much the mark of the later attempts differs from the one the advice began with; NaN
        where that is not known.
    limit_m
        Bias beyond which a mark was called wrong.
    level
        Of the intervals.

    Returns
    -------
    Look
        `NOT_ENOUGH` until the blocks that the verdict needs say enough.

    Raises
    ------
    ValueError
        A move or a limit that is not finite, a negative limit, a level outside (0, 1).

    Notes
    -----
    A mark moved by m changes every error before steering by m, so that with the interval of the
    change of bias turned to the side of the move (times the sign of m):

    - **moved as advised**, from half of the move on: right if the whole interval is on the advised
      side and the bias is smaller than before; wrong if it is all on the other side, or if the bias
      went the advised way and is no smaller than before (moved too far).
    - **a move was advised and the mark left**: right if the interval of the bias after lies all on
      the side that the advice named; wrong if it lies all on the other side, or all within the
      limit (the bias went without a move).
    - **advised to keep, and kept**: right if the interval of the bias after lies all within the
      limit, wrong if it lies all beyond it on one side.
    - Else not shown. What was moved otherwise is not tried: the advice can not be blamed.

    A bias that was found large is partly chance, and comes back in part by itself: a right verdict
    after a move is no proof that the move did it. A mark that was left beside it shows how much.

    Source: the rule is ours; intervals as in `comparing`.

    Examples
    --------
    >>> before = comparing.block_figures([0.17, 0.20, 0.16, 0.21, 0.18, 0.16], [False] * 6)
    >>> after = comparing.block_figures([0.05, 0.08, 0.06, 0.09, 0.07, 0.04], [False] * 6)
    >>> look = look_back(before, after, move_m=-0.12, moved_m=-0.12, limit_m=0.05)
    >>> look.verdict.value, look.mark.value, round(look.bias_change_m, 3)
    ('right', 'as_advised', -0.115)
    """
    _check_move(move_m, limit_m)
    conventions.check_level(level)
    mark = _mark_after(move_m, moved_m)
    first = None if isinstance(before, NotEnoughAttempts) else _bias_interval(before, level)
    later = None if isinstance(after, NotEnoughAttempts) else _bias_interval(after, level)
    change, change_interval = None, None
    if not isinstance(before, NotEnoughAttempts) and not isinstance(after, NotEnoughAttempts):
        compared = comparing.compare_blocks(before, after, level=level)
        change, change_interval = compared.bias_change_m, compared.bias_change_interval
    if mark in {MarkAfter.OTHERWISE, MarkAfter.UNKNOWN}:
        verdict = Verdict.NOT_ENOUGH if later is None else Verdict.NOT_TRIED
    elif mark is MarkAfter.AS_ADVISED:
        verdict = _moved(before, after, change_interval, move_m=move_m)
    elif later is None:
        verdict = Verdict.NOT_ENOUGH
    elif move_m == 0:
        verdict = _kept(later, limit_m=limit_m)
    else:
        verdict = _left(later, move_m=move_m, limit_m=limit_m)
    return Look(verdict, mark, first, later, change, change_interval)


def look_back_on_practice(
    before: BlockFigures | NotEnoughAttempts,
    after: BlockFigures | NotEnoughAttempts,
    *,
    level: float = DEFAULT_LEVEL,
) -> Look:
    """Say whether the toe spreads less since it was advised to practise against its spread.

    Parameters
    ----------
    before, after
        `comparing.block_figures` of the errors at the board.
    level
        Of the intervals.

    Returns
    -------
    Look
        Right where the whole interval of the ratio of SDs lies below 1, wrong where it lies above.

    Raises
    ------
    ValueError
        A level outside (0, 1).

    Notes
    -----
    Only for who followed: of who did not, nothing can be held against the advice. A spread that was
    found large is partly chance and comes back in part by itself, and other training goes on
    beside: right is no proof that the practice did it.

    Source: the F interval of a ratio of variances, see `comparing.compare_blocks`.

    Examples
    --------
    >>> before = comparing.block_figures([0.30, -0.25, 0.20, -0.30, 0.28, -0.22] * 2, [False] * 12)
    >>> after = comparing.block_figures([0.06, -0.05, 0.04, -0.06, 0.05, -0.04] * 2, [False] * 12)
    >>> look_back_on_practice(before, after).verdict.value
    'right'
    """
    conventions.check_level(level)
    first, later = (
        None if isinstance(each, NotEnoughAttempts) else _bias_interval(each, level)
        for each in (before, after)
    )
    if isinstance(before, NotEnoughAttempts) or isinstance(after, NotEnoughAttempts):
        return Look(Verdict.NOT_ENOUGH, None, first, later, None, None)
    compared = comparing.compare_blocks(before, after, level=level)
    interval, verdict = compared.sd_ratio_interval, Verdict.NOT_SHOWN
    if interval is not None and interval.high < 1:
        verdict = Verdict.RIGHT
    elif interval is not None and interval.low > 1:
        verdict = Verdict.WRONG
    return Look(
        verdict,
        None,
        first,
        later,
        compared.bias_change_m,
        compared.bias_change_interval,
        sd_ratio=compared.sd_ratio,
        sd_ratio_interval=interval,
    )


def look_back_on_readiness(
    after: BlockFigures | NotEnoughAttempts, *, limit_m: float, level: float = DEFAULT_LEVEL
) -> Look:
    """Say whether the steadiness is there that "ready for more steps" rested on.

    Parameters
    ----------
    after
        `comparing.block_figures` of the errors at the board, from the run-up that was judged.
    limit_m
        Largest SD of who is ready, above 0.
    level
        Of the interval.

    Returns
    -------
    Look
        Right where the whole interval of the SD lies within the limit, wrong where it lies beyond.

    Raises
    ------
    ValueError
        A limit that is not above 0 and finite, a level outside (0, 1).

    Notes
    -----
    What more steps brought is not asked: those are jumps from another run-up, on other days. Who
    has lengthened it has few attempts from the old one, and then nothing is said.

    Source: the chi-square interval of an SD, see `conventions.sd_interval`.

    Examples
    --------
    >>> after = comparing.block_figures([0.06, -0.05, 0.04, -0.06, 0.05, -0.04] * 2, [False] * 12)
    >>> look_back_on_readiness(after, limit_m=0.10).verdict.value
    'right'
    """
    conventions.check_level(level)
    if not 0 < limit_m < np.inf:
        raise ValueError(f"limit_m must be above 0 and finite, got {limit_m}")
    if isinstance(after, NotEnoughAttempts):
        return Look(Verdict.NOT_ENOUGH, None, None, None, None, None)
    interval = conventions.sd_interval(sd=after.sd_m, df=after.df, level=level)
    verdict = Verdict.NOT_SHOWN
    if interval.high <= limit_m:
        verdict = Verdict.RIGHT
    elif interval.low > limit_m:
        verdict = Verdict.WRONG
    return Look(
        verdict, None, None, _bias_interval(after, level), None, None, sd_after_interval=interval
    )


def _check_move(move_m: float, limit_m: float) -> None:
    if not np.isfinite(move_m):
        raise ValueError(f"move_m must be finite, got {move_m}")
    if not np.isfinite(limit_m) or limit_m < 0:
        raise ValueError(f"limit_m must be finite and not negative, got {limit_m}")


def _mark_after(move_m: float, moved_m: float) -> MarkAfter:
    if np.isnan(moved_m):
        return MarkAfter.UNKNOWN
    if move_m == 0:
        # A hair of slack: two marks to the centimetre differ by 0.02 only nearly.
        return MarkAfter.LEFT if abs(moved_m) <= MARK_STANDS_M + 1e-9 else MarkAfter.OTHERWISE
    share = moved_m / move_m
    if share >= SHARE_OF_MOVE:
        return MarkAfter.AS_ADVISED
    return MarkAfter.LEFT if share > -SHARE_OF_MOVE else MarkAfter.OTHERWISE


def _bias_interval(block: BlockFigures, level: float) -> Interval:
    if block.bias_standard_error_m == 0:
        return Interval(block.bias_m, block.bias_m, level)
    return conventions.t_interval(
        estimate=block.bias_m,
        standard_error=block.bias_standard_error_m,
        df=block.bias_df,
        level=level,
    )


def _moved(
    before: BlockFigures | NotEnoughAttempts,
    after: BlockFigures | NotEnoughAttempts,
    change: Interval | None,
    *,
    move_m: float,
) -> Verdict:
    if (
        isinstance(before, NotEnoughAttempts)
        or isinstance(after, NotEnoughAttempts)
        or change is None
    ):
        return Verdict.NOT_ENOUGH
    low, high = _on_side(change, move_m)
    if high < 0:
        return Verdict.WRONG
    if low <= 0:
        return Verdict.NOT_SHOWN
    return Verdict.RIGHT if abs(after.bias_m) < abs(before.bias_m) else Verdict.WRONG


def _left(bias: Interval, *, move_m: float, limit_m: float) -> Verdict:
    # Who is to move the mark toward the pit (negative) lands short (positive).
    low, high = _on_side(bias, -move_m)
    if high < 0 or (-limit_m <= low and high <= limit_m):
        return Verdict.WRONG
    return Verdict.RIGHT if low > 0 else Verdict.NOT_SHOWN


def _kept(bias: Interval, *, limit_m: float) -> Verdict:
    if -limit_m <= bias.low and bias.high <= limit_m:
        return Verdict.RIGHT
    return Verdict.WRONG if bias.low > limit_m or bias.high < -limit_m else Verdict.NOT_SHOWN


def _on_side(interval: Interval, side: float) -> tuple[float, float]:
    """Return an interval's ends counted positive on the side of the sign of `side`."""
    return (interval.low, interval.high) if side > 0 else (-interval.high, -interval.low)
