"""Did anything change between two blocks of attempts?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import baselines, censored, components, conventions
from analytics.core.conventions import (
    DEFAULT_AIM_M,
    DEFAULT_LEVEL,
    FloatArray,
    Interval,
    NotEnoughAttempts,
)

MIN_MEASURED = 5
"""Measured toes of a block below which it is not compared; one more for each further session (or
revision, where sessions are not told apart)."""


@dataclass(frozen=True, slots=True)
class BlockFigures:
    """What one block of attempts says about bias and spread.

    Attributes
    ----------
    n, n_measured, n_unmeasured_no_jumps
        Attempts that say something, and of which kind.
    bias_m, bias_standard_error_m, bias_df
        Mean error against the aim, positive: landed short; its standard error and the degrees of
        freedom of that. With sessions, they allow for a session's own effect.
    sd_m, df
        SD within sessions, or within plan revisions where sessions are not told apart, and its
        degrees of freedom. Where no jumps were not measured, from the censored fit with the
        degrees of freedom of equal information.
    """

    n: int
    n_measured: int
    n_unmeasured_no_jumps: int
    bias_m: float
    bias_standard_error_m: float
    bias_df: float
    sd_m: float
    df: float


@dataclass(frozen=True, slots=True)
class BlockComparison:
    """The later block against the earlier one.

    Attributes
    ----------
    n_before, n_after
        Attempts in each block.
    sd_before_m, sd_after_m, df_before, df_after
        As in `BlockFigures`.
    sd_ratio, sd_ratio_interval
        SD after / SD before with its F interval; None when a block has no spread at all.
    probability_spread_lower
        How sure it is that the spread is lower after, from 0 to 1; None as above.
    bias_change_m, bias_change_interval
        Bias after less bias before, with Welch's interval.
    """

    n_before: int
    n_after: int
    sd_before_m: float
    sd_after_m: float
    df_before: float
    df_after: float
    sd_ratio: float | None
    sd_ratio_interval: Interval | None
    probability_spread_lower: float | None
    bias_change_m: float
    bias_change_interval: Interval


def block_figures(
    board_toe_m: npt.ArrayLike,
    no_jump: npt.ArrayLike,
    *,
    aim_m: npt.ArrayLike = DEFAULT_AIM_M,
    revision: npt.ArrayLike | None = None,
    session: npt.ArrayLike | None = None,
) -> BlockFigures | NotEnoughAttempts:
    """Sum one block of attempts up for a comparison.

    Parameters
    ----------
    board_toe_m
        Shape (n,), metres behind the take-off line, negative beyond; NaN where not measured.
    no_jump
        Shape (n,), booleans.
    aim_m
        Toe-to-board distance of the plan: one number, or shape (n,).
    revision
        Shape (n,), plan revision; the spread is that within revisions.
    session
        Shape (n,), labels: then the spread is that within sessions, and the bias as uncertain as
        sessions that differ make it. None takes all attempts for one session.

    Returns
    -------
    BlockFigures or NotEnoughAttempts
        `MIN_MEASURED` measured toes are needed, one more for each further group of attempts whose
        mean is taken out.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite distances.

    Notes
    -----
    With every toe measured, the plain mean and SD. A no jump without a measured toe is censored
    at 0, see `censored.fit_censored`. Leaving it out would make a block with more of them look
    steadier. A session (or revision) of the block without any measured toe is left out.

    With sessions of n_s attempts out of N, SD w within and b between them, the variance of the
    bias is ``w^2 / N + b^2 sum of (n_s / N)^2``. A block holds few sessions, so b is drawn toward
    ``0.7 w`` with the weight of three, as in `baselines.find_baseline`; degrees of freedom by
    Satterthwaite. Without sessions, where they differ by an SD of 0.7 w, the interval of a change
    between two blocks of 20 attempts in 2 to 5 sessions covers 64 to 84 % instead of 95 %
    (simulated).

    Examples
    --------
    >>> block = block_figures([0.02, 0.04, 0.06, 0.08, 0.10], [False] * 5)
    >>> round(abs(block.bias_m), 4), round(block.sd_m, 4), block.df
    (0.0, 0.0316, 4.0)
    """
    toe, beyond = conventions.check_attempts(board_toe_m, no_jump)
    error_offset = conventions.check_aim(aim_m, n=toe.size)
    measured = ~np.isnan(toe)
    labels = conventions.group_by(revision, session, n=toe.size).index
    revisions = conventions.group_by(revision, n=toe.size).index
    usable = (measured | beyond) & np.isin(labels, labels[measured])
    toe, measured, error_offset = toe[usable], measured[usable], error_offset[usable]
    groups = conventions.group_by(labels[usable], n=toe.size)
    n_measured = int(measured.sum())
    needed = MIN_MEASURED + max(groups.n_groups - 1, 0)
    if n_measured < needed:
        return NotEnoughAttempts(n=n_measured, needed=needed)
    n_unmeasured = int(toe.size) - n_measured
    if n_unmeasured:
        bias, standard_error, sd, df, filled = _censored_block(toe, measured, error_offset, groups)
    else:
        bias, standard_error, sd, df, filled = _measured_block(toe - error_offset, groups)
    bias_df = df
    if session is not None:
        standard_error, bias_df = _over_sessions(
            filled, groups, revisions[usable], within=(standard_error, sd, df)
        )
    return BlockFigures(
        n=int(toe.size),
        n_measured=n_measured,
        n_unmeasured_no_jumps=n_unmeasured,
        bias_m=bias,
        bias_standard_error_m=standard_error,
        bias_df=bias_df,
        sd_m=sd,
        df=df,
    )


def compare_blocks(
    before: BlockFigures, after: BlockFigures, *, level: float = DEFAULT_LEVEL
) -> BlockComparison:
    """Compare the spread and the bias of two blocks that share no attempt.

    Parameters
    ----------
    before, after
        Figures of the earlier and the later block.
    level
        Of the intervals.

    Returns
    -------
    BlockComparison
        Positive `bias_change_m`: lands shorter than before.

    Raises
    ------
    ValueError
        A level outside (0, 1).

    Notes
    -----
    With ``r = s2 / s1`` the interval is ``r / sqrt(F(1 - a/2; df2, df1))`` to
    ``r sqrt(F(1 - a/2; df1, df2))`` and the probability of a lower spread
    ``P(F(df1, df2) < 1 / r^2)``, which is 1 less the one-sided p of the F test (NIST/SEMATECH
    e-Handbook 1.3.5.9 for the test). Both assume normal values: the F test is not robust, and long
    tails make it too sure. The bias interval is Welch 1947, Biometrika 34:28-35 (from memory).

    Edge cases: a block without any spread has no ratio. Two of them differ in bias exactly.

    Examples
    --------
    >>> before = block_figures([0.02, 0.04, 0.06, 0.08, 0.10], [False] * 5)
    >>> after = block_figures([0.04, 0.05, 0.06, 0.07, 0.08], [False] * 5)
    >>> result = compare_blocks(before, after)
    >>> round(result.sd_ratio, 3), round(result.probability_spread_lower, 3)
    (0.5, 0.896)
    """
    conventions.check_level(level)
    ratio, interval, lower = _spread_ratio(before, after, level=level)
    change = after.bias_m - before.bias_m
    return BlockComparison(
        n_before=before.n,
        n_after=after.n,
        sd_before_m=before.sd_m,
        sd_after_m=after.sd_m,
        df_before=before.df,
        df_after=after.df,
        sd_ratio=ratio,
        sd_ratio_interval=interval,
        probability_spread_lower=lower,
        bias_change_m=change,
        bias_change_interval=_welch_interval(change, before, after, level=level),
    )


def _measured_block(
    error: FloatArray, groups: conventions.Groups
) -> tuple[float, float, float, float, FloatArray]:
    """Return bias, its standard error, SD, its df, and the errors."""
    left = conventions.centred(error, groups)
    df = float(error.size - groups.n_groups)
    sd = float(np.sqrt(left @ left / df))
    everyone = conventions.group_by(None, n=error.size)
    bias = float(conventions.group_means(error, everyone)[0])
    return bias, sd / float(np.sqrt(error.size)), sd, df, error


def _censored_block(
    toe: FloatArray,
    measured: conventions.BoolArray,
    aim: FloatArray,
    groups: conventions.Groups,
) -> tuple[float, float, float, float, FloatArray]:
    """Return the same, with what is expected of the unmeasured in the place of their errors."""
    weights = groups.counts / toe.size
    if censored.leaves_no_spread(toe, measured, groups):
        means = np.array([toe[measured & (groups.index == g)][0] for g in range(groups.n_groups)])
        df = float(measured.sum() - groups.n_groups)
        bias = float(weights @ means - np.mean(aim))
        return bias, 0.0, 0.0, df, means[groups.index] - aim
    design = np.eye(groups.n_groups)[groups.index]
    fit = censored.fit_linear(toe[measured], design[measured], design[~measured])
    df = censored.equivalent_df(fit)
    inflation = (df + groups.n_groups) / df
    variance = float(weights @ fit.covariance[:-1, :-1] @ weights) * inflation
    return (
        float(weights @ fit.coefficients - np.mean(aim)),
        float(np.sqrt(variance)),
        fit.sd * float(np.sqrt(inflation)),
        df,
        # The fit's own means of the sessions, with the spread that is left of the measured.
        fit.coefficients[groups.index] - aim + _left_of_measured(toe, measured, groups),
    )


def _left_of_measured(
    toe: FloatArray, measured: conventions.BoolArray, groups: conventions.Groups
) -> FloatArray:
    left = np.zeros(toe.size)
    seen = conventions.group_by(groups.index[measured], n=int(measured.sum()))
    left[measured] = conventions.centred(toe[measured], seen)
    return left


def _over_sessions(
    error: FloatArray,
    groups: conventions.Groups,
    revisions: conventions.IntArray,
    *,
    within: tuple[float, float, float],
) -> tuple[float, float]:
    """Return the standard error of the bias where sessions differ, and its df."""
    standard_error, sd, df = within
    parts = components.spread_components(error, groups.index, revision=revisions)
    known_df = 0 if isinstance(parts, NotEnoughAttempts) else parts.between_df
    known_sd = 0.0 if isinstance(parts, NotEnoughAttempts) else parts.between_sd_m
    between_df = known_df + baselines.PRIOR_BETWEEN_SESSIONS
    between = (
        known_df * known_sd**2
        + baselines.PRIOR_BETWEEN_SESSIONS * (baselines.PRIOR_BETWEEN_SHARE * sd) ** 2
    ) / between_df
    from_sessions = between * float(np.sum((groups.counts / error.size) ** 2))
    variance = standard_error**2 + from_sessions
    if variance == 0:
        return 0.0, df
    return float(np.sqrt(variance)), variance**2 / (
        standard_error**4 / df + from_sessions**2 / between_df
    )


def _spread_ratio(
    before: BlockFigures, after: BlockFigures, *, level: float
) -> tuple[float | None, Interval | None, float | None]:
    if before.sd_m == 0 or after.sd_m == 0:
        return None, None, None
    ratio = after.sd_m / before.sd_m
    tail = (1 - level) / 2
    interval = Interval(
        low=ratio / float(np.sqrt(stats.f.isf(tail, after.df, before.df))),
        high=ratio * float(np.sqrt(stats.f.isf(tail, before.df, after.df))),
        level=level,
    )
    return ratio, interval, float(stats.f.cdf(1 / ratio**2, before.df, after.df))


def _welch_interval(
    change: float, before: BlockFigures, after: BlockFigures, *, level: float
) -> Interval:
    first, second = before.bias_standard_error_m**2, after.bias_standard_error_m**2
    variance = first + second
    if variance == 0:
        return Interval(low=change, high=change, level=level)
    df = variance**2 / (first**2 / before.bias_df + second**2 / after.bias_df)
    return conventions.t_interval(
        estimate=change, standard_error=float(np.sqrt(variance)), df=df, level=level
    )
