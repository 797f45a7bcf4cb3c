"""What the next attempts will probably do at the board: no jump, on the board, or short of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from analytics.core import conventions, next_attempts
from analytics.core.conventions import (
    BOARD_WIDTH_M,
    DEFAULT_AIM_M,
    DEFAULT_LEVEL,
    FloatArray,
    Interval,
)
from analytics.core.next_attempts import NextAttempts

MOST_ATTEMPTS = 6
"""Attempts of a competition (World Athletics Technical Rules, from memory): 3, and 3 more for the
best 8, or 6 for all when there are no more than 8."""

AIMS_M = tuple(round(0.01 * each, 2) for each in range(21))
"""Aims that are compared, the line to the back edge of the board."""

_MEAN_NODES = 16
_SD_NODES = 10


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the next attempts will probably do at the board.

    Attributes
    ----------
    n, n_measured, n_unmeasured_no_jumps, n_sessions
        Attempts it rests on; 0 sessions where nothing was said of them.
    aim_m
        The aim that it holds for.
    mean_m, toe_interval
        Where the next toe is expected, and the range in which it comes down with the probability
        `level`.
    probability_no_jump, probability_on_board, probability_short
        Of the next attempt; they sum to 1.
    probability_no_jump_interval
        Range of this athlete's own no-jump risk, which so few attempts do not tell exactly.
    probability_all_no_jumps
        For 1, 2, ... `MOST_ATTEMPTS` attempts: that each of them is a no jump.
    """

    n: int
    n_measured: int
    n_unmeasured_no_jumps: int
    n_sessions: int
    aim_m: float
    mean_m: float
    toe_interval: Interval
    probability_no_jump: float
    probability_no_jump_interval: Interval
    probability_on_board: float
    probability_short: float
    probability_all_no_jumps: tuple[float, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ByAim:
    """What the next attempt would be for each aim. Arrays of shape (a,).

    Attributes
    ----------
    aim_m
        Where the toe would come down on the mean, metres behind the line.
    probability_no_jump, probability_on_board, probability_short
        They sum to 1.
    """

    aim_m: FloatArray
    probability_no_jump: FloatArray
    probability_on_board: FloatArray
    probability_short: FloatArray


def outlook(
    toe: NextAttempts,
    *,
    aim_m: float = DEFAULT_AIM_M,
    present_aim_m: float = DEFAULT_AIM_M,
    mark_corrected: bool = False,
    level: float = DEFAULT_LEVEL,
) -> Outlook:
    """Say what the next attempts will probably do at the board.

    Parameters
    ----------
    toe
        From `next_attempts.expect_toe`.
    aim_m
        Toe-to-board distance that the next attempts aim at.
    present_aim_m
        That of the attempts which the expectation comes from, in their latest plan revision: the
        start mark moves by the difference.
    mark_corrected
        The start mark has just been moved so that the mean error is 0 as far as anybody knows.
        How uncertain the mean was stays.
    level
        Of the intervals.

    Returns
    -------
    Outlook
        For `next_attempts.known` the risk has no range: its interval is one point.

    Raises
    ------
    ValueError
        An aim that is not finite, a level outside (0, 1).

    Notes
    -----
    Without sessions and hidden no jumps ``P(x < limit) = T((limit - mean) / (s sqrt(1 + 1/n)))``,
    Student's t with n - 1 degrees of freedom; the toe interval is the usual prediction interval,
    and the interval of the risk is exact too (that of the noncentral t). A new session adds its
    own variance, see `next_attempts.expect_toe`. The normal curve with mean and SD put in would
    understate the risk: it knows nothing of how little was measured.

    Attempts to come share mean and SD, whatever they are, so
    ``P(m no jumps) = E[P(no jump | mean, SD)^m]``, which is more than the m-th power of one risk:
    who is unlucky enough to stand wrong once, stands wrong three times.

    Edge cases: a toe exactly on the line or exactly 0.20 m behind it is on the board; it has no
    probability.

    Source: prediction interval, NIST/SEMATECH e-Handbook; expectation over what is shared, ours.

    Examples
    --------
    >>> toe = np.array([0.16, 0.02, 0.10, -0.04, 0.06, 0.18])
    >>> ahead = outlook(next_attempts.expect_toe(toe, toe < 0))
    >>> round(ahead.probability_no_jump, 3), round(ahead.probability_on_board, 3)
    (0.209, 0.67)
    >>> [round(each, 3) for each in ahead.probability_all_no_jumps[:3]]
    [0.209, 0.061, 0.022]
    """
    conventions.check_level(level)
    if not np.isfinite([aim_m, present_aim_m]).all():
        raise ValueError(f"aims must be finite, got {aim_m} and {present_aim_m}")
    move = aim_m - (toe.mean_m if mark_corrected else present_aim_m)
    no_jump = probability_below(toe, -move)
    up_to_board = probability_below(toe, BOARD_WIDTH_M - move)
    return Outlook(
        n=toe.n,
        n_measured=toe.n_measured,
        n_unmeasured_no_jumps=toe.n_unmeasured_no_jumps,
        n_sessions=toe.n_sessions,
        aim_m=aim_m,
        mean_m=toe.mean_m + move,
        toe_interval=_toe_interval(toe, move=move, level=level),
        probability_no_jump=no_jump,
        probability_no_jump_interval=_risk_interval(toe, no_jump, move=move, level=level),
        probability_on_board=up_to_board - no_jump,
        probability_short=_probability_above(toe, BOARD_WIDTH_M - move),
        probability_all_no_jumps=_all_no_jumps(toe, no_jump, move=move),
    )


def by_aim(toe: NextAttempts, aim_m: npt.ArrayLike = AIMS_M) -> ByAim:
    """Say what the next attempt would be, were the mark such that the mean is at each aim.

    How uncertain the mean was stays, as with `mark_corrected` of `outlook`.

    Parameters
    ----------
    toe
        From `next_attempts.expect_toe`.
    aim_m
        Shape (a,), metres behind the line.

    Returns
    -------
    ByAim

    Raises
    ------
    ValueError
        Aims that are not a list of finite numbers.

    Notes
    -----
    Student's t where nothing but the mean and SD of one session is unknown, as in `outlook`.

    Edge cases: no aims give empty arrays.

    Source: as `outlook`.

    Examples
    --------
    >>> ahead = by_aim(next_attempts.known(0.30, 0.08), [0.06])
    >>> round(float(ahead.probability_no_jump[0]), 3)
    0.227
    """
    aims = np.asarray(aim_m, dtype=np.float64)
    if aims.ndim != 1 or not np.isfinite(aims).all():
        raise ValueError("aims must be a list of finite numbers")
    no_jump = np.array([probability_below(toe, toe.mean_m - aim) for aim in aims])
    short = np.array([_probability_above(toe, BOARD_WIDTH_M + toe.mean_m - aim) for aim in aims])
    return ByAim(
        aim_m=aims,
        probability_no_jump=no_jump,
        probability_on_board=np.maximum(1.0 - no_jump - short, 0.0),
        probability_short=short,
    )


def probability_below(toe: NextAttempts, limit_m: float) -> float:
    """Return how probably the next toe comes down nearer the pit than a place.

    Parameters
    ----------
    toe
        From `next_attempts.expect_toe`.
    limit_m
        Metres behind the line; 0 for the risk of a no jump.

    Examples
    --------
    >>> round(probability_below(next_attempts.known(0.06, 0.08), 0.0), 3)
    0.227
    """
    spread = np.hypot(toe.own_sd_m, toe.shared_sd_m)
    return _expectation(toe, special.ndtr((limit_m - toe.shared_mean_m) / spread))


def _probability_above(toe: NextAttempts, limit_m: float) -> float:
    spread = np.hypot(toe.own_sd_m, toe.shared_sd_m)
    return _expectation(toe, special.ndtr((toe.shared_mean_m - limit_m) / spread))


def _expectation(toe: NextAttempts, values: FloatArray) -> float:
    return min(1.0, float(np.sum(toe.weight * values)))


def _toe_interval(toe: NextAttempts, *, move: float, level: float) -> Interval:
    scale = float(np.max(np.hypot(toe.own_sd_m, toe.shared_sd_m)))

    def below(x: float) -> float:
        return probability_below(toe, x)

    def above(x: float) -> float:
        return _probability_above(toe, x)

    low, high = _ends(below, above, start=toe.mean_m, scale=scale, level=level)
    return Interval(low=low + move, high=high + move, level=level)


def _risk_interval(toe: NextAttempts, no_jump: float, *, move: float, level: float) -> Interval:
    """Return the range of the risk, found on the scale of its normal deviate."""
    if np.all(toe.shared_sd_m == 0):
        return Interval(low=no_jump, high=no_jump, level=level)
    mean = toe.shared_mean_m + move

    # The risk is below ndtr(z) where the mean lies farther behind the line than -sd z.
    def below(z: float) -> float:
        return _expectation(toe, special.ndtr((mean + toe.own_sd_m * z) / toe.shared_sd_m))

    def above(z: float) -> float:
        return _expectation(toe, special.ndtr(-(mean + toe.own_sd_m * z) / toe.shared_sd_m))

    start = float(np.sum(toe.weight * -mean / toe.own_sd_m))
    low, high = _ends(below, above, start=start, scale=1.0, level=level)
    return Interval(low=float(special.ndtr(low)), high=float(special.ndtr(high)), level=level)


def _ends(
    below: Callable[[float], float],
    above: Callable[[float], float],
    *,
    start: float,
    scale: float,
    level: float,
) -> tuple[float, float]:
    """Return the places with the same share of the rest of `level` below and above."""
    tail = (1 - level) / 2
    return (
        _place_of(below, tail, start=start, step=-scale),
        _place_of(above, tail, start=start, step=scale),
    )


def _place_of(beyond: Callable[[float], float], tail: float, *, start: float, step: float) -> float:
    """Return where `beyond`, which falls along `step`, has come down to `tail`."""
    inner = start - step
    while beyond(inner) < tail:
        inner -= step
    outer = start + step
    while beyond(outer) > tail:
        step *= 2
        outer += step
    return float(optimize.brentq(lambda x: beyond(x) - tail, inner, outer, xtol=1e-13, rtol=1e-12))


def _all_no_jumps(toe: NextAttempts, no_jump: float, *, move: float) -> tuple[float, ...]:
    truths = next_attempts.nodes(toe, n_sds=_SD_NODES, n_means=_MEAN_NODES)
    risk = special.ndtr(-(truths.mean_m + move) / truths.sd_m)
    later = (float(truths.weight @ risk**m) for m in range(2, MOST_ATTEMPTS + 1))
    return (no_jump, *later)
