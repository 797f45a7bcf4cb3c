"""Mean, spread and risk at the board when some no jumps have no measured toe.

An unmeasured no jump is information: the toe came down beyond the line. It is censored at 0, not
missing, and leaving it out makes an athlete look steadier and safer than they are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from analytics.core import conventions
from analytics.core.conventions import (
    DEFAULT_LEVEL,
    BoolArray,
    FloatArray,
    Interval,
    NotEnoughAttempts,
)

MIN_MEASURED = 5
"""Measured toes, in all groups together, below which nothing is fitted."""

_MAX_NEWTON_STEPS = 100
_LAST_STEP_DECREMENT = 1e-10


@dataclass(frozen=True, slots=True)
class CensoredFit:
    """Normal distribution of the toe-to-board distance, fitted with unmeasured no jumps.

    Attributes
    ----------
    n, n_measured, n_unmeasured_no_jumps
        Attempts used, and of which kind.
    mean_m, mean_interval
        Mean toe-to-board distance of the latest group.
    sd_m
        Maximum likelihood estimate of the SD within groups (it divides by n).
    adjusted_sd_m, sd_interval
        SD corrected for the fitted means (n - g where nothing is censored), and its interval.
    df
        Degrees of freedom that a fully measured set with the same information about the SD has.
    probability_no_jump, probability_no_jump_interval
        P(toe < 0) in the latest group, from the fitted mean and `sd_m`.
    """

    n: int
    n_measured: int
    n_unmeasured_no_jumps: int
    mean_m: float
    mean_interval: Interval
    sd_m: float
    adjusted_sd_m: float
    sd_interval: Interval
    df: float
    probability_no_jump: float
    probability_no_jump_interval: Interval


@dataclass(frozen=True, slots=True)
class LinearFit:
    """Maximum of the censored normal likelihood with a linear mean.

    Attributes
    ----------
    coefficients
        Shape (p,).
    sd
        Maximum likelihood SD about the mean.
    covariance
        Shape (p + 1, p + 1): of the coefficients and log(sd), from the observed information.
    log_likelihood
        At the maximum.
    """

    coefficients: FloatArray
    sd: float
    covariance: FloatArray
    log_likelihood: float


def fit_censored(
    board_toe_m: npt.ArrayLike,
    no_jump: npt.ArrayLike,
    *,
    revision: npt.ArrayLike | None = None,
    level: float = DEFAULT_LEVEL,
) -> CensoredFit | NotEnoughAttempts:
    """Fit a normal distribution to toe-to-board distances, unmeasured no jumps included.

    Parameters
    ----------
    board_toe_m
        Shape (n,), metres behind the take-off line, negative beyond; NaN where not measured.
    no_jump
        Shape (n,), booleans. A no jump without a measured toe counts as "toe < 0"; any other
        attempt without one is left out.
    revision
        Shape (n,), plan revision; each has its own mean and all share one SD.
    level
        Of the intervals.

    Returns
    -------
    CensoredFit or NotEnoughAttempts
        `MIN_MEASURED` measured toes are needed, one of them in the latest revision.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite distances, a level outside (0, 1).

    Notes
    -----
    Log-likelihood ``sum log f(x) over measured + sum log Phi(-mean / sd) over censored``, its
    maximum found by Newton steps in (mean / sd, 1 / sd), where it is concave (Olsen 1978,
    Econometrica 46:1211-1215, from memory).

    Intervals use the observed information, fitted so that with nothing censored they are exactly
    the t and the chi-square interval: if the variance of log(sd) is v, a fully measured set of
    ``1 / (2 v)`` attempts would say as much, so ``df = 1 / (2 v) - g``. The interval of
    P(no jump) is that of mean / sd, carried through the normal distribution. The choice is ours;
    coverage is simulated in the tests.

    Edge cases: groups with no measured toe at all say nothing about the SD and are left out.
    Where the measured toes of every group are equal and nothing censored contradicts them, the SD
    is 0, the mean exact and P(no jump) 0 or 1; toes exactly on the line beside unmeasured no jumps
    give the observed share.

    Examples
    --------
    >>> nan = float("nan")
    >>> toe = [0.14, 0.05, 0.11, 0.02, 0.17, 0.08, nan, nan]
    >>> fit = fit_censored(toe, [False] * 6 + [True, True])
    >>> round(fit.mean_m, 4), round(fit.sd_m, 4), round(fit.probability_no_jump, 3)
    (0.0603, 0.077, 0.217)
    """
    toe, beyond = conventions.check_attempts(board_toe_m, no_jump)
    conventions.check_level(level)
    measured = ~np.isnan(toe)
    groups = conventions.group_by(revision, n=toe.size).index
    n_measured = int(measured.sum())
    if n_measured < MIN_MEASURED:
        return NotEnoughAttempts(n=n_measured, needed=MIN_MEASURED)
    known = measured | beyond
    latest = groups[known][-1]
    if not np.any(measured & (groups == latest)):
        return NotEnoughAttempts(n=0, needed=1)
    usable = known & np.isin(groups, groups[measured])
    toe, groups, measured = toe[usable], groups[usable], measured[usable]
    kept = conventions.group_by(groups, n=groups.size)
    column = int(kept.index[np.flatnonzero(groups == latest)[0]])
    if leaves_no_spread(toe, measured, kept):
        return _fit_without_spread(toe, measured, groups == latest, level=level)
    design = np.eye(kept.n_groups)[kept.index]
    fit = fit_linear(toe[measured], design[measured], design[~measured])
    return _as_result(fit, toe=toe, measured=measured, column=column, level=level)


def fit_linear(values: FloatArray, design: FloatArray, censored_design: FloatArray) -> LinearFit:
    """Fit a normal linear model to values, some of which are only known to lie below 0.

    Parameters
    ----------
    values
        Shape (m,), measured, in any unit.
    design
        Shape (m, p), of the measured values; full rank.
    censored_design
        Shape (c, p), of the values that are known to be negative only.

    Returns
    -------
    LinearFit
        In the unit of `values`.

    Raises
    ------
    ValueError
        The likelihood has no maximum: the measured values leave no spread.

    Notes
    -----
    See `fit_censored`. Newton steps converge quadratically: the step that follows a decrement
    below 1e-10 is the last.

    Examples
    --------
    >>> fit = fit_linear(np.array([1.0, 3.0]), np.ones((2, 1)), np.empty((0, 1)))
    >>> fit.coefficients.round(6).tolist(), round(fit.sd, 6)
    ([2.0], 1.0)
    """
    start, *_ = np.linalg.lstsq(design, values, rcond=None)
    residual = values - design @ start
    scale = float(np.sqrt(np.mean(residual**2)))
    largest = float(np.max(np.abs(values)))
    if scale <= 1e-9 * largest and censored_design.shape[0]:
        # Equal values say nothing of the SD; the censored ones, which contradict them, do.
        scale = largest
    if scale == 0:
        raise ValueError("the measured values leave no spread to fit")
    # In (mean / sd, 1 / sd), scaled so that the start has an SD of 1.
    point = np.append(start / scale, 1.0)
    target = values / scale
    current = _log_likelihood(point, target, design, censored_design)
    for _ in range(_MAX_NEWTON_STEPS):
        gradient, information = _derivatives(point, target, design, censored_design)
        step = np.linalg.solve(information, gradient)
        if float(gradient @ step) < _LAST_STEP_DECREMENT:
            point = point + step
            break
        length = 1.0
        while True:
            candidate = point + length * step
            if candidate[-1] > 0:
                reached = _log_likelihood(candidate, target, design, censored_design)
                if reached >= current:
                    break
            length /= 2
            if length < 1e-12:
                raise ValueError("the measured values leave no spread to fit")
        point, current = candidate, reached
    else:
        raise ValueError("the measured values leave no spread to fit")
    current = _log_likelihood(point, target, design, censored_design)
    _, information = _derivatives(point, target, design, censored_design)
    inverse_sd = point[-1]
    coefficients = point[:-1] / inverse_sd
    # d(mean / sd, 1 / sd) / d(mean, log sd)
    jacobian = np.eye(point.size) * inverse_sd
    jacobian[:, -1] = -point
    covariance = np.linalg.inv(jacobian.T @ information @ jacobian)
    unit = np.append(np.full(coefficients.size, scale), 1.0)
    return LinearFit(
        coefficients=coefficients * scale,
        sd=float(scale / inverse_sd),
        covariance=covariance * np.outer(unit, unit),
        log_likelihood=float(current - values.size * np.log(scale)),
    )


def equivalent_df(fit: LinearFit) -> float:
    """Return the degrees of freedom of a fully measured set that says as much about the SD.

    Notes
    -----
    ``1 / (2 var(log sd)) - p``, at least 1; n - p when nothing is censored.

    Examples
    --------
    >>> fit = fit_linear(np.arange(6.0), np.ones((6, 1)), np.empty((0, 1)))
    >>> round(equivalent_df(fit), 6)
    5.0
    """
    return max(1.0, 1 / (2 * float(fit.covariance[-1, -1])) - fit.coefficients.size)


def expected_beyond_line(mean: float, sd: float) -> tuple[float, float]:
    """Return mean and variance of a normal toe, given that it lay beyond the line.

    Parameters
    ----------
    mean, sd
        Of the toe-to-board distance, in metres.

    Returns
    -------
    tuple of float
        In metres, and square metres.

    Notes
    -----
    Truncated normal distribution: with ``u = mean / sd`` and ``h = phi(u) / Phi(-u)``, mean
    ``mean - sd h`` and variance ``sd^2 (1 - h (h - u))``.

    Examples
    --------
    >>> mean, variance = expected_beyond_line(0.0, 1.0)
    >>> round(mean, 4), round(variance, 4)
    (-0.7979, 0.3634)
    """
    u = mean / sd
    mills = float(np.exp(-0.5 * u * u - 0.5 * np.log(2 * np.pi) - special.log_ndtr(-u)))
    return mean - sd * mills, sd**2 * max(0.0, 1 - mills * (mills - u))


def leaves_no_spread(
    board_toe_m: FloatArray, measured: BoolArray, groups: conventions.Groups
) -> bool:
    """Say whether the likelihood grows without end as the SD goes to 0.

    Parameters
    ----------
    board_toe_m, measured
        Shape (n,): distances in metres, and which of them were measured; the others are censored.
    groups
        Of all n attempts, each with a measured toe.

    Returns
    -------
    bool
        True when the measured toes of each group are equal and none of them lies behind the line
        in a group that has censored ones.

    Examples
    --------
    >>> toe = np.array([0.1, 0.1, np.nan])
    >>> both = conventions.group_by(None, n=3)
    >>> leaves_no_spread(toe, ~np.isnan(toe), both)
    False
    """
    lowest = np.full(groups.n_groups, np.inf)
    highest = np.full(groups.n_groups, -np.inf)
    np.minimum.at(lowest, groups.index[measured], board_toe_m[measured])
    np.maximum.at(highest, groups.index[measured], board_toe_m[measured])
    contradicted = groups.index[~measured]
    return bool(np.all(lowest == highest) and np.all(highest[contradicted] <= 0))


def _log_likelihood(
    point: FloatArray, values: FloatArray, design: FloatArray, censored_design: FloatArray
) -> float:
    ratio, inverse_sd = point[:-1], point[-1]
    z = inverse_sd * values - design @ ratio
    return float(
        values.size * (np.log(inverse_sd) - 0.5 * np.log(2 * np.pi))
        - 0.5 * (z @ z)
        + np.sum(special.log_ndtr(-(censored_design @ ratio)))
    )


def _derivatives(
    point: FloatArray, values: FloatArray, design: FloatArray, censored_design: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the gradient and the observed information (minus the second derivatives)."""
    ratio, inverse_sd = point[:-1], point[-1]
    z = inverse_sd * values - design @ ratio
    u = censored_design @ ratio
    # Inverse Mills ratio by logarithms: the plain quotient is 0 / 0 far beyond the line.
    mills = np.exp(-0.5 * u * u - 0.5 * np.log(2 * np.pi) - special.log_ndtr(-u))
    gradient = np.append(
        design.T @ z - censored_design.T @ mills, values.size / inverse_sd - z @ values
    )
    information = np.empty((point.size, point.size))
    weights = mills * (mills - u)
    information[:-1, :-1] = design.T @ design + (censored_design.T * weights) @ censored_design
    information[:-1, -1] = information[-1, :-1] = -(design.T @ values)
    information[-1, -1] = values.size / inverse_sd**2 + values @ values
    return gradient, information


def _fit_without_spread(
    toe: FloatArray, measured: BoolArray, latest: BoolArray, *, level: float
) -> CensoredFit:
    value = float(toe[latest & measured][0])
    share = float(np.mean(~measured[latest]))
    probability = 1.0 if value < 0 else share
    return CensoredFit(
        n=int(toe.size),
        n_measured=int(measured.sum()),
        n_unmeasured_no_jumps=int((~measured).sum()),
        mean_m=value,
        mean_interval=Interval(low=value, high=value, level=level),
        sd_m=0.0,
        adjusted_sd_m=0.0,
        sd_interval=Interval(low=0.0, high=0.0, level=level),
        df=float(measured.sum()) - 1,
        probability_no_jump=probability,
        probability_no_jump_interval=Interval(low=probability, high=probability, level=level),
    )


def _as_result(
    fit: LinearFit, *, toe: FloatArray, measured: BoolArray, column: int, level: float
) -> CensoredFit:
    df = equivalent_df(fit)
    inflation = float(np.sqrt((df + fit.coefficients.size) / df))
    mean = float(fit.coefficients[column])
    adjusted = fit.sd * inflation
    # mean / sd has the gradient (1 / sd, -mean / sd) in (mean, log sd).
    ratio = mean / fit.sd
    slope = np.zeros(fit.covariance.shape[0])
    slope[column], slope[-1] = 1 / fit.sd, -ratio
    half = float(stats.norm.ppf(0.5 + level / 2) * np.sqrt(slope @ fit.covariance @ slope))
    return CensoredFit(
        n=int(toe.size),
        n_measured=int(measured.sum()),
        n_unmeasured_no_jumps=int((~measured).sum()),
        mean_m=mean,
        mean_interval=conventions.t_interval(
            estimate=mean,
            standard_error=float(np.sqrt(fit.covariance[column, column])) * inflation,
            df=df,
            level=level,
        ),
        sd_m=fit.sd,
        adjusted_sd_m=adjusted,
        sd_interval=conventions.sd_interval(sd=adjusted, df=df, level=level),
        df=df,
        probability_no_jump=float(special.ndtr(-ratio)),
        probability_no_jump_interval=Interval(
            low=float(special.ndtr(-ratio - half)),
            high=float(special.ndtr(-ratio + half)),
            level=level,
        ),
    )
