"""How close to the aim an athlete lands at the board, and how steadily."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core import components, conventions
from analytics.core.conventions import (
    BOARD_WIDTH_M,
    DEFAULT_AIM_M,
    DEFAULT_LEVEL,
    FloatArray,
    Interval,
    NotEnoughAttempts,
)

MIN_MEASURED = 5
"""Measured toes below which no figure is given; one more for each further plan revision."""

MAD_TO_SD = 1.4826
"""What makes the median absolute deviation of normal values estimate their SD: 1 / 0.67449."""


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Accuracy and consistency at the board. Errors are positive when landed short.

    Attributes
    ----------
    n, n_measured, n_unmeasured_no_jumps
        All attempts, those with a measured toe, and the no jumps without one.
    n_revisions, df
        Plan revisions among the measured, and ``n_measured - n_revisions``.
    bias_m, bias_interval
        Mean error against the aim, with its t interval.
    sd_m, sd_interval
        SD within plan revisions, with its chi-square interval.
    rmse_m
        Root mean square error against the aim: bias and spread in one number.
    robust_sd_m
        1.4826 times the median absolute deviation from the median of each revision.
    n_on_board, share_on_board, share_on_board_interval
        Toes from 0 to 0.20 m, as a share of the attempts of which that is known: the measured
        and the no jumps.
    n_no_jumps, share_no_jump, share_no_jump_interval
        No jumps as a share of all attempts.
    sessions
        Spread within and between sessions, None without session labels.
    bias_interval_over_sessions
        Interval of the bias that counts whole sessions, so that a good or bad day does not pass
        for a habit; None where `sessions` has no answer.
    """

    n: int
    n_measured: int
    n_unmeasured_no_jumps: int
    n_revisions: int
    df: int
    bias_m: float
    bias_interval: Interval
    sd_m: float
    sd_interval: Interval
    rmse_m: float
    robust_sd_m: float
    n_on_board: int
    share_on_board: float
    share_on_board_interval: Interval
    n_no_jumps: int
    share_no_jump: float
    share_no_jump_interval: Interval
    sessions: components.SpreadComponents | NotEnoughAttempts | None
    bias_interval_over_sessions: Interval | None


def accuracy(
    board_toe_m: npt.ArrayLike,
    no_jump: npt.ArrayLike,
    *,
    aim_m: npt.ArrayLike = DEFAULT_AIM_M,
    session: npt.ArrayLike | None = None,
    revision: npt.ArrayLike | None = None,
    level: float = DEFAULT_LEVEL,
) -> Accuracy | NotEnoughAttempts:
    """Describe how attempts of one series met the board.

    Parameters
    ----------
    board_toe_m
        Shape (n,), metres behind the take-off line, negative beyond; NaN where not measured.
    no_jump
        Shape (n,), booleans. A toe measured beyond the line counts as a no jump too.
    aim_m
        Toe-to-board distance of the plan: one number, or shape (n,).
    session, revision
        Shape (n,), labels of the session and the plan revision.
    level
        Of the intervals.

    Returns
    -------
    Accuracy or NotEnoughAttempts
        `MIN_MEASURED` measured toes are needed, one more for each further plan revision.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite distances, a level outside (0, 1).

    Notes
    -----
    With ``e = toe - aim``: bias ``mean(e)``, interval ``bias ± t(df) sd / sqrt(n)``; SD
    ``sqrt(sum of (e - mean of its revision)^2 / df)`` with ``df = n - revisions``; shares with
    Wilson intervals. These figures are of measured toes only; where no jumps were not measured
    the SD and the bias flatter, and `censored.fit_censored` belongs beside them. Shares count the
    unmeasured no jumps. An attempt with neither toe nor no jump is a gap: it counts for the
    no-jump share, and not for the share on the board.

    Edge cases: equal toes give an SD of 0 with an interval from 0 to 0. A toe exactly on the line
    or exactly 0.20 m behind it is on the board.

    Examples
    --------
    >>> toe = [0.16, 0.02, 0.10, -0.04, 0.06]
    >>> result = accuracy(toe, [False, False, False, True, False], aim_m=0.06)
    >>> round(abs(result.bias_m), 4), round(result.sd_m, 4)
    (0.0, 0.0762)
    >>> result.share_on_board, result.share_no_jump
    (0.8, 0.2)
    """
    toe, beyond = conventions.check_attempts(board_toe_m, no_jump)
    aim = conventions.check_aim(aim_m, n=toe.size)
    conventions.check_level(level)
    measured = ~np.isnan(toe)
    n, n_measured = int(toe.size), int(measured.sum())
    revisions = _measured_groups(revision, measured=measured)
    needed = MIN_MEASURED + max(revisions.n_groups - 1, 0)
    if n_measured < needed:
        return NotEnoughAttempts(n=n_measured, needed=needed)
    error = (toe - aim)[measured]
    df = n_measured - revisions.n_groups
    bias = _mean(error)
    about_revision = conventions.centred(error, revisions)
    sd = float(np.sqrt(about_revision @ about_revision / df))
    n_on_board = int(np.count_nonzero((toe >= 0) & (toe <= BOARD_WIDTH_M)))
    n_no_jumps = int(beyond.sum())
    n_known = int(np.count_nonzero(measured | beyond))
    parts = None if session is None else _by_session(error, session, revision, measured)
    over_sessions = None
    if isinstance(parts, components.SpreadComponents):
        over_sessions = components.mean_interval(bias, parts, level=level)
    return Accuracy(
        n=n,
        n_measured=n_measured,
        n_unmeasured_no_jumps=int(np.count_nonzero(beyond & ~measured)),
        n_revisions=revisions.n_groups,
        df=df,
        bias_m=bias,
        bias_interval=conventions.t_interval(
            estimate=bias, standard_error=sd / float(np.sqrt(n_measured)), df=df, level=level
        ),
        sd_m=sd,
        sd_interval=conventions.sd_interval(sd=sd, df=df, level=level),
        rmse_m=float(np.sqrt(np.mean(error**2))),
        robust_sd_m=_robust_sd(error, revisions),
        n_on_board=n_on_board,
        share_on_board=n_on_board / n_known,
        share_on_board_interval=conventions.wilson_interval(
            successes=n_on_board, n=n_known, level=level
        ),
        n_no_jumps=n_no_jumps,
        share_no_jump=n_no_jumps / n,
        share_no_jump_interval=conventions.wilson_interval(successes=n_no_jumps, n=n, level=level),
        sessions=parts,
        bias_interval_over_sessions=over_sessions,
    )


def _measured_groups(
    labels: npt.ArrayLike | None, *, measured: conventions.BoolArray
) -> conventions.Groups:
    index = conventions.group_by(labels, n=measured.size).index[measured]
    return conventions.group_by(index, n=index.size)


def _by_session(
    error: FloatArray,
    session: npt.ArrayLike,
    revision: npt.ArrayLike | None,
    measured: conventions.BoolArray,
) -> components.SpreadComponents | NotEnoughAttempts:
    return components.spread_components(
        error,
        _measured_groups(session, measured=measured).index,
        revision=_measured_groups(revision, measured=measured).index,
    )


def _mean(values: FloatArray) -> float:
    groups = conventions.group_by(None, n=values.size)
    return float(conventions.group_means(values, groups)[0])


def _robust_sd(error: FloatArray, revisions: conventions.Groups) -> float:
    centre = np.array(
        [np.median(error[revisions.index == group]) for group in range(revisions.n_groups)]
    )
    return MAD_TO_SD * float(np.median(np.abs(error - centre[revisions.index])))
