"""What the wind does to where this athlete's foot lands, and how far the marks move for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core import believed_line, conventions, wind
from analytics.core.conventions import DEFAULT_LEVEL, BoolArray, FloatArray, Interval

WINDS_MPS = tuple(float(each) for each in range(-3, 5))
"""The rows of the table, head wind to tail wind."""

SLOPE_SD_M = 0.05
"""How much athletes differ about the usual slope, metres for each m/s (SD; our judgement)."""

LEVEL_SD_M = 0.20
"""How wrong a plan's mark may be without wind, metres (SD; our judgement)."""

CHECK_MARK_SD_M = 0.15
BOARD_SD_M = 0.10
"""Usual SD of one attempt within a session at a check mark and at the board, as in
`mark_advice`."""


@dataclass(frozen=True, slots=True)
class WindTable:
    """The athlete's wind table. Arrays of shape (w,), one value for each wind of the table.

    Attributes
    ----------
    n, n_sessions
        Attempts with an error and a wind, and their sessions. With none the table is the usual one.
    slope_m, slope_interval
        By how much the error changes for each m/s of `wind.felt_wind`.
    usual_slope_m
        What was believed before any attempt.
    own_share
        From 0 to 1, how much these attempts have told: 1 less the variance of the slope over what
        it was believed to be. Below 0.5 the table is more what is usual than the athlete's own.
    attempt_sd_m
        SD of one attempt within a session.
    wind_mps, error_change_m
        Wind, and by how much the error changes with it.
    move_m, move_low_m, move_high_m
        How far the marks move for it, and the ends of the interval: positive away from the pit.
    attempt_sd_with_gusts_m
        SD of one attempt where the wind comes in gusts about this reading.
    seen
        The athlete's own attempts cover this wind; else the table is carried on beyond them.
    """

    n: int
    n_sessions: int
    slope_m: float
    slope_interval: Interval
    usual_slope_m: float
    own_share: float
    attempt_sd_m: float
    wind_mps: FloatArray
    error_change_m: FloatArray
    move_m: FloatArray
    move_low_m: FloatArray
    move_high_m: FloatArray
    attempt_sd_with_gusts_m: FloatArray
    seen: BoolArray


def wind_table(
    error_m: npt.ArrayLike,
    wind_mps: npt.ArrayLike,
    *,
    run_m: float,
    session: npt.ArrayLike,
    revision: npt.ArrayLike | None = None,
    pass_through: float = 1.0,
    usual_sd_m: float = CHECK_MARK_SD_M,
    gust_sd_mps: float = 0.0,
    winds_mps: npt.ArrayLike = WINDS_MPS,
    level: float = DEFAULT_LEVEL,
) -> WindTable:
    """Make the athlete's wind table from what the wind did so far.

    Parameters
    ----------
    error_m
        Shape (n,), metres, at one check mark or at the board; NaN where not measured.
    wind_mps
        Shape (n,), along the runway, positive a tail wind; NaN where nobody read it.
    run_m
        Metres run from the start mark to that footfall, 0 or more.
    session
        Shape (n,), labels: each session lands a little short or far by itself.
    revision
        Shape (n,), labels of the plan revision, each with a level of its own.
    pass_through
        Share of an error that steering lets through to that footfall: 1 at a check mark before
        the onset, less at the board.
    usual_sd_m
        Usual SD of one attempt there: `CHECK_MARK_SD_M` or `BOARD_SD_M`.
    gust_sd_mps
        SD of the wind about its reading where the table is to hold, 0 or more.
    winds_mps
        Shape (w,), the rows.
    level
        Of the intervals.

    Returns
    -------
    WindTable

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, a negative distance or gust, a pass-through outside
        0 to 1, a level outside (0, 1).

    Notes
    -----
    `believed_line.fit_line` of the errors on ``u = w - w^2 / 16`` (`wind.felt_wind`). Belief: the
    slope is normal about `wind.usual_wind_slope`, times the pass-through, with SD `SLOPE_SD_M`;
    levels about 0 with SD `LEVEL_SD_M`. **The marks move by -slope u**: back for a tail wind. A
    gust of SD g about a reading w adds ``slope (1 - w / 8) g`` to the SD of one attempt, by the
    slope of u there; what the attempts hold of gusts themselves is in their SD already.

    At the board steering hides the wind. The marks move by the table of a check mark; dividing the
    board's table by the pass-through would blow its error up with it.

    Edge cases: no attempts, or all in the same wind, give the usual table with its wide interval. A
    no jump that nobody measured has no error and is left out, which at the board hides a part of
    what a tail wind does. In a calm nothing moves.

    Source: Bayesian linear regression; the belief is our derivation, see `wind`.

    Examples
    --------
    >>> table = wind_table([], [], run_m=35.0, session=[])
    >>> table.wind_mps[[0, 5, 7]].tolist(), table.move_m[[0, 5, 7]].round(2).tolist()
    ([-3.0, 2.0, 4.0], [-0.28, 0.14, 0.24])
    >>> table.move_low_m[[5]].round(2).tolist(), table.move_high_m[[5]].round(2).tolist()
    ([-0.03], [0.31])
    """
    conventions.check_level(level)
    error = np.asarray(error_m, dtype=np.float64)
    blowing = np.asarray(wind_mps, dtype=np.float64)
    rows = np.asarray(winds_mps, dtype=np.float64)
    if error.ndim != 1 or blowing.shape != error.shape:
        raise ValueError(f"each error needs a wind, got shapes {error.shape} and {blowing.shape}")
    conventions.check_not_infinite(error, name="error_m")
    conventions.check_not_infinite(blowing, name="wind_mps")
    if rows.ndim != 1 or not np.all(np.isfinite(rows)):
        raise ValueError("winds_mps must be a list of finite winds")
    if not 0 <= run_m < float("inf"):
        raise ValueError(f"run_m must be finite and 0 or more, got {run_m}")
    if not 0 <= pass_through <= 1:
        raise ValueError(f"pass_through must lie between 0 and 1, got {pass_through}")
    if not 0 <= gust_sd_mps < float("inf"):
        raise ValueError(f"gust_sd_mps must be finite and 0 or more, got {gust_sd_mps}")
    n = int(error.size)
    sessions = conventions.group_by(session, n=n).index
    revisions = conventions.group_by(revision, n=n).index
    known = ~np.isnan(error) & ~np.isnan(blowing)
    usual = float(wind.usual_wind_slope(run_m)) * pass_through
    line = believed_line.fit_line(
        error[known],
        wind.felt_wind(blowing[known]),
        belief=believed_line.Belief(
            slope=usual, slope_sd=SLOPE_SD_M, attempt_sd=usual_sd_m, level_sd=LEVEL_SD_M
        ),
        levels=revisions[known],
        session=sessions[known],
    )
    slope = believed_line.slope_mean(line)
    interval = believed_line.slope_interval(line, level=level)
    sd = believed_line.attempt_sd(line)
    felt = wind.felt_wind(rows)
    ends = np.sort(-felt[:, None] * np.array([interval.low, interval.high]), axis=1) + 0.0
    own = blowing[known]
    return WindTable(
        n=line.n,
        n_sessions=int(np.unique(sessions[known]).size),
        slope_m=slope,
        slope_interval=interval,
        usual_slope_m=usual,
        own_share=min(max(1 - believed_line.slope_sd(line) ** 2 / SLOPE_SD_M**2, 0.0), 1.0),
        attempt_sd_m=sd,
        wind_mps=rows,
        error_change_m=slope * felt + 0.0,
        move_m=0.0 - slope * felt,
        move_low_m=ends[:, 0],
        move_high_m=ends[:, 1],
        attempt_sd_with_gusts_m=np.hypot(sd, slope * (1 - rows / 8) * gust_sd_mps),
        seen=(rows >= np.min(own, initial=np.inf)) & (rows <= np.max(own, initial=-np.inf)),
    )
