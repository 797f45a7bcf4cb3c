"""What few attempts say of an athlete, drawn toward what is usual in the squad.

A newcomer's mean of four attempts is mostly chance; that athletes of one squad are alike in part is
knowledge, too. Each figure is drawn toward the squad's mean, the more so the less it is sure of
itself and the more alike the squad is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special, stats

from analytics.core import conventions
from analytics.core.conventions import DEFAULT_LEVEL, FloatArray, NotEnoughAttempts

MIN_ATHLETES = 5
"""Athletes who measure something; ours. Drawing toward a common mean gains nothing with three."""


@dataclass(frozen=True, slots=True)
class Shrunken:
    """Figures of a squad's athletes after each has been drawn toward the squad.

    Attributes
    ----------
    n_athletes
        Athletes with a figure of their own.
    squad_value
        What is usual in the squad, in the unit of the figures.
    squad_sd
        SD of the true figures about it: of means in their unit, of SDs of the logarithm of the
        SD; 0 where the athletes differ no more than chance makes them.
    estimate, low, high
        Shape (k,), each athlete's figure and its interval; NaN for one without a figure.
    own_weight
        Shape (k,), from 0 to 1: how much is left of the distance to the squad; NaN likewise.
    level
        Of the intervals.
    """

    n_athletes: int
    squad_value: float
    squad_sd: float
    estimate: FloatArray
    low: FloatArray
    high: FloatArray
    own_weight: FloatArray
    level: float


def shrink_means(
    mean: npt.ArrayLike, standard_error: npt.ArrayLike, *, level: float = DEFAULT_LEVEL
) -> Shrunken | NotEnoughAttempts:
    """Draw the means of a squad's athletes toward each other.

    Parameters
    ----------
    mean
        Shape (k,), one for each athlete, such as the bias in metres; NaN for an athlete without
        a figure, who is left out and gets none.
    standard_error
        Shape (k,), of each mean. From few attempts, take the SD out of `shrink_sds`: one that
        came out small by chance would hold a chance mean for certain.
    level
        Of the intervals.

    Returns
    -------
    Shrunken or NotEnoughAttempts
        Counted in athletes: `MIN_ATHLETES` with a figure are needed.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, a standard error that is not above 0, a level
        outside (0, 1).

    Notes
    -----
    With V the square of a standard error and A the variance of the true means, an athlete keeps
    ``1 - B`` of the distance to the squad's mean, ``B = (k - 3)/(k - 1) V / (V + A)`` (Morris 1983,
    J Am Stat Assoc 78:47-55, from memory). A solves ``sum of (mean - squad)^2 / (V + A) = k - 1``
    (Paule & Mandel 1982, J Res Natl Bur Stand 87:377-385, from memory), and is 0 where no A is
    large enough to be needed. With equal standard errors that is James and Stein's
    ``1 - (k - 3) V / sum of (mean - squad)^2`` (Efron & Morris 1977, Scientific American
    236(5):119-127), with at least ``2 / (k - 1)`` of the own figure kept.

    The variance of an estimate is ``V (1 - B (1 - w)) + 2 B^2 (mean - squad)^2 / (k - 3)`` with
    w the athlete's share of the squad's mean (Morris): the last part is for A being estimated.
    The interval is normal.

    Edge cases: where the athletes differ no more than chance makes them A is 0, and each still
    keeps ``2 / (k - 1)`` of the distance: few athletes cannot show that all are the same.

    Examples
    --------
    >>> mean = [0.16, 0.02, 0.06, 0.09, 0.02, 0.07]
    >>> found = shrink_means(mean, [0.05, 0.02, 0.02, 0.02, 0.02, 0.02])
    >>> round(found.squad_value, 3), found.estimate.round(3).tolist()[:2]
    (0.061, [0.121, 0.026])
    """
    means, variance = _check_means(mean, standard_error)
    conventions.check_level(level)
    known = ~np.isnan(means)
    k = int(known.sum())
    if k < MIN_ATHLETES:
        return NotEnoughAttempts(n=k, needed=MIN_ATHLETES)
    squad, sd, estimate, own, spread = _shrink(means, variance, known)
    half = float(stats.norm.ppf(0.5 + level / 2)) * spread
    return Shrunken(
        n_athletes=k,
        squad_value=squad,
        squad_sd=sd,
        estimate=estimate,
        low=estimate - half,
        high=estimate + half,
        own_weight=own,
        level=level,
    )


def shrink_sds(
    sd: npt.ArrayLike, df: npt.ArrayLike, *, level: float = DEFAULT_LEVEL
) -> Shrunken | NotEnoughAttempts:
    """Draw the SDs of a squad's athletes toward each other.

    Parameters
    ----------
    sd
        Shape (k,), one for each athlete, above 0; NaN for an athlete without one.
    df
        Shape (k,), degrees of freedom of each, at least 1.
    level
        Of the intervals.

    Returns
    -------
    Shrunken or NotEnoughAttempts
        As in `shrink_means`.

    Raises
    ------
    ValueError
        Shapes that do not fit, an SD that is not above 0 or infinite, degrees of freedom below 1,
        a level outside (0, 1).

    Notes
    -----
    On the scale of ``log variance``, where chance does not grow with the figure:
    ``log s^2 - digamma(df / 2) + log(df / 2)`` has no bias and the variance
    ``trigamma(df / 2)`` (Smyth 2004, Stat Appl Genet Mol Biol 3:3, from memory); drawn together as
    in `shrink_means`, then back. Taking the bias out makes an SD of few attempts larger: the
    middle of a skewed curve.

    Edge cases: an SD of 0 has no logarithm. It comes from readings too coarse to show a spread,
    so leave it out (NaN) or set it to what a tape can show.

    Examples
    --------
    >>> found = shrink_sds([0.03, 0.08, 0.09, 0.11, 0.07, 0.10], [3, 40, 40, 40, 40, 40])
    >>> round(found.squad_value, 3), round(float(found.estimate[0]), 3)
    (0.087, 0.056)
    """
    sds, dfs = _check_sds(sd, df)
    log_variance = 2 * np.log(sds) - special.digamma(dfs / 2) + np.log(dfs / 2)
    found = shrink_means(log_variance, np.sqrt(special.polygamma(1, dfs / 2)), level=level)
    if isinstance(found, NotEnoughAttempts):
        return found
    return Shrunken(
        n_athletes=found.n_athletes,
        squad_value=float(np.exp(found.squad_value / 2)),
        squad_sd=found.squad_sd / 2,
        estimate=np.exp(found.estimate / 2),
        low=np.exp(found.low / 2),
        high=np.exp(found.high / 2),
        own_weight=found.own_weight,
        level=level,
    )


def _shrink(
    means: FloatArray, variance: FloatArray, known: conventions.BoolArray
) -> tuple[float, float, FloatArray, FloatArray, FloatArray]:
    """Return the squad's mean and SD, and of each athlete the estimate, own weight and its SD."""
    own, own_variance = means[known], variance[known]
    k = own.size
    between = _variance_between(own, own_variance)
    weight = 1 / (own_variance + between)
    squad = float(weight @ own / weight.sum())
    drawn = (k - 3) / (k - 1) * own_variance * weight
    left = own - squad
    share = weight / weight.sum()
    spread = own_variance * (1 - drawn * (1 - share)) + 2 * drawn**2 * left**2 / (k - 3)
    spread_out, estimate, kept = (np.full(means.size, np.nan) for _ in range(3))
    estimate[known], kept[known], spread_out[known] = squad + (1 - drawn) * left, 1 - drawn, spread
    return squad, float(np.sqrt(between)), estimate, kept, np.sqrt(spread_out)


def _variance_between(means: FloatArray, variance: FloatArray) -> float:
    def excess(between: float) -> float:
        weight = 1 / (variance + between)
        squad = weight @ means / weight.sum()
        return float(weight @ (means - squad) ** 2) - (means.size - 1)

    if excess(0.0) <= 0:
        return 0.0
    high = float(variance.max() + np.sum((means - means.mean()) ** 2))
    return float(optimize.brentq(excess, 0.0, high, xtol=1e-12 * high, rtol=1e-12))


def _check_means(
    mean: npt.ArrayLike, standard_error: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    means, errors = _check_pairs(mean, standard_error, names="mean and standard_error")
    known = ~np.isnan(means)
    if not np.all(
        (errors[known] < conventions.LARGEST) & (errors[known] > 1 / conventions.LARGEST)
    ):
        raise ValueError("standard_error must be finite and above 0")
    return means, errors**2


def _check_sds(sd: npt.ArrayLike, df: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    sds, dfs = _check_pairs(sd, df, names="sd and df")
    known = ~np.isnan(sds)
    if not np.all(sds[known] > 0):
        raise ValueError("sd must be above 0")
    if not np.all(np.isfinite(dfs[known]) & (dfs[known] >= 1)):
        raise ValueError("df must be finite and at least 1")
    return sds, np.where(known, dfs, 1.0)


def _check_pairs(
    first: npt.ArrayLike, second: npt.ArrayLike, *, names: str
) -> tuple[FloatArray, FloatArray]:
    one, two = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if one.ndim != 1 or one.shape != two.shape:
        raise ValueError(
            f"{names} need one value for each athlete, got shapes {one.shape} and {two.shape}"
        )
    conventions.check_not_infinite(one, name=names.split(" ", maxsplit=1)[0])
    return one, two
