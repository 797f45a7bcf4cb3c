"""Did anything change between two blocks of attempts?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import censored, conventions
from analytics.core.conventions import (
    DEFAULT_AIM_M,
    DEFAULT_LEVEL,
    FloatArray,
    Interval,
    NotEnoughAttempts,
)

MIN_MEASURED = 5
"""Measured toes of a block below which it is not compared; one more for each further revision."""

_MOST_ATTEMPTS = 100_000


@dataclass(frozen=True, slots=True)
class BlockFigures:
    """What one block of attempts says about bias and spread.

    Attributes
    ----------
    n, n_measured, n_unmeasured_no_jumps
        Attempts that say something, and of which kind.
    bias_m, bias_standard_error_m
        Mean error against the aim; positive: landed short.
    sd_m, df
        SD within plan revisions and its degrees of freedom. Where no jumps were not measured, from
        the censored fit with the degrees of freedom of equal information.
    """

    n: int
    n_measured: int
    n_unmeasured_no_jumps: int
    bias_m: float
    bias_standard_error_m: float
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

    Returns
    -------
    BlockFigures or NotEnoughAttempts
        `MIN_MEASURED` measured toes are needed, one more for each further revision.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite distances.

    Notes
    -----
    With every toe measured, the plain mean and SD. A no jump without a measured toe is censored
    at 0, see `censored.fit_censored`. Leaving it out would make a block with more of them look
    steadier. A revision of the block without any measured toe is left out.

    Examples
    --------
    >>> block = block_figures([0.02, 0.04, 0.06, 0.08, 0.10], [False] * 5)
    >>> round(abs(block.bias_m), 4), round(block.sd_m, 4), block.df
    (0.0, 0.0316, 4.0)
    """
    toe, beyond = conventions.check_attempts(board_toe_m, no_jump)
    error_offset = conventions.check_aim(aim_m, n=toe.size)
    measured = ~np.isnan(toe)
    labels = conventions.group_by(revision, n=toe.size).index
    usable = (measured | beyond) & np.isin(labels, labels[measured])
    toe, measured, error_offset = toe[usable], measured[usable], error_offset[usable]
    groups = conventions.group_by(labels[usable], n=toe.size)
    n_measured = int(measured.sum())
    needed = MIN_MEASURED + max(groups.n_groups - 1, 0)
    if n_measured < needed:
        return NotEnoughAttempts(n=n_measured, needed=needed)
    n_unmeasured = int(toe.size) - n_measured
    if n_unmeasured:
        bias, standard_error, sd, df = _censored_block(toe, measured, error_offset, groups)
    else:
        bias, standard_error, sd, df = _measured_block(toe - error_offset, groups)
    return BlockFigures(
        n=int(toe.size),
        n_measured=n_measured,
        n_unmeasured_no_jumps=n_unmeasured,
        bias_m=bias,
        bias_standard_error_m=standard_error,
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


def attempts_to_show(*, change: float, sure: float = 0.95, power: float = 0.80) -> int:
    """Return how many attempts each of two blocks needs to show that the spread fell.

    Parameters
    ----------
    change
        Share by which the SD is lower after, 0.20 for a fifth; inside (0, 1).
    sure
        Probability of a lower spread from which it counts as shown.
    power
        Chance that it is then shown.

    Returns
    -------
    int
        Attempts in each block, all measured, of one plan revision.

    Raises
    ------
    ValueError
        A share outside (0, 1), or a change so small that 100,000 attempts do not show it.

    Notes
    -----
    Smallest n with ``P(F < F(1 - sure) / (1 - change)^2) >= power``, F with n - 1 and n - 1
    degrees of freedom: the power of the one-sided F test.

    Examples
    --------
    >>> attempts_to_show(change=0.20), attempts_to_show(change=0.40)
    (127, 26)
    """
    for name, share in (("change", change), ("sure", sure), ("power", power)):
        if not 0 < share < 1:
            raise ValueError(f"{name} must lie between 0 and 1, got {share}")

    def shows(n: int) -> bool:
        limit = stats.f.ppf(1 - sure, n - 1, n - 1)
        return bool(stats.f.cdf(limit / (1 - change) ** 2, n - 1, n - 1) >= power)

    if not shows(_MOST_ATTEMPTS):
        raise ValueError(f"a change of {change} would need more than {_MOST_ATTEMPTS} attempts")
    low, high = 1, _MOST_ATTEMPTS
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if shows(middle) else (middle, high)
    return high


def _measured_block(
    error: FloatArray, groups: conventions.Groups
) -> tuple[float, float, float, float]:
    left = conventions.centred(error, groups)
    df = float(error.size - groups.n_groups)
    sd = float(np.sqrt(left @ left / df))
    everyone = conventions.group_by(None, n=error.size)
    bias = float(conventions.group_means(error, everyone)[0])
    return bias, sd / float(np.sqrt(error.size)), sd, df


def _censored_block(
    toe: FloatArray,
    measured: conventions.BoolArray,
    aim: FloatArray,
    groups: conventions.Groups,
) -> tuple[float, float, float, float]:
    weights = groups.counts / toe.size
    if censored.leaves_no_spread(toe, measured, groups):
        means = np.array([toe[measured & (groups.index == g)][0] for g in range(groups.n_groups)])
        df = float(measured.sum() - groups.n_groups)
        return float(weights @ means - np.mean(aim)), 0.0, 0.0, df
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
    df = variance**2 / (first**2 / before.df + second**2 / after.df)
    return conventions.t_interval(
        estimate=change, standard_error=float(np.sqrt(variance)), df=df, level=level
    )
