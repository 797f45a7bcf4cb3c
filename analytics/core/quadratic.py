"""A curve of the second order through attempts, and where it turns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import linalg, stats

from analytics.core import conventions
from analytics.core.conventions import DEFAULT_LEVEL, FloatArray, Groups, Interval

PARAMETERS = 2
"""Slope and curvature; each group has a level of its own beside them."""


@dataclass(frozen=True, slots=True, eq=False)
class Quadratic:
    """``level of the group + slope (x - centre) + curvature (x - centre)^2``.

    Attributes
    ----------
    n, df
        Values, and degrees of freedom of what is left.
    centre
        Mean of x.
    slope, curvature
        At the centre, and half the second derivative.
    covariance
        Shape (2, 2), of slope and curvature.
    residual_sd
        SD about the curve.
    lack_of_fit_p
        How probably a curve of the second order leaves so much beside what repeated values differ
        by; None without repeated values, or with no more places than the curve has freedom.
    """

    n: int
    df: int
    centre: float
    slope: float
    curvature: float
    covariance: FloatArray
    residual_sd: float
    lack_of_fit_p: float | None


def fit_quadratic(x: npt.ArrayLike, y: npt.ArrayLike, *, groups: Groups) -> Quadratic:
    """Fit a curve of the second order by least squares, a level for each group.

    Parameters
    ----------
    x, y
        Shape (n,), finite.
    groups
        From `conventions.group_by`.

    Raises
    ------
    ValueError
        Shapes that do not fit, values that are not finite, places that do not tell slope from
        curvature within groups, or no degree of freedom left.

    Notes
    -----
    Ordinary least squares after the mean of each group is taken off, which leaves slope and
    curvature as with a dummy variable for each group. Lack of fit: F test against the model with a
    level for each x (NIST/SEMATECH e-Handbook 4.4.4.6, from memory).

    Examples
    --------
    >>> steps = np.array([6.0, 8.0, 10.0, 12.0])
    >>> fit = fit_quadratic(steps, 9 - (steps - 13) ** 2 / 50, groups=conventions.group_by(n=4))
    >>> round(fit.slope, 6), round(fit.curvature, 6), fit.df
    (0.16, -0.02, 1)
    """
    places, values = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if places.ndim != 1 or places.shape != values.shape or groups.index.shape != places.shape:
        raise ValueError(f"x, y and groups do not fit: {places.shape} and {values.shape}")
    if not (np.isfinite(places).all() and np.isfinite(values).all()):
        raise ValueError("x and y must be finite")
    n = int(places.size)
    df = n - groups.n_groups - PARAMETERS
    if df < 1:
        raise ValueError(f"{n} values in {groups.n_groups} groups leave no degree of freedom")
    centre = float(places.mean())
    off = places - centre
    columns = [conventions.centred(each, groups) for each in (off, off**2)]
    scale = np.array([float(np.linalg.norm(each)) for each in columns])
    if np.any(scale == 0):
        raise ValueError("the places do not tell slope from curvature")
    design = np.column_stack(columns) / scale
    target = conventions.centred(values, groups)
    q, r = np.linalg.qr(design)
    if abs(r[1, 1]) < 1e-9:
        raise ValueError("the places do not tell slope from curvature")
    inverse = linalg.solve_triangular(r, np.eye(PARAMETERS)) / scale[:, None]
    slope, curvature = inverse @ (q.T @ target)
    left = target - q @ (q.T @ target)
    square = float(left @ left)
    return Quadratic(
        n=n,
        df=df,
        centre=centre,
        slope=float(slope),
        curvature=float(curvature),
        covariance=square / df * (inverse @ inverse.T),
        residual_sd=float(np.sqrt(square / df)),
        lack_of_fit_p=_lack_of_fit_p(places, values, groups, square=square, df=df),
    )


def change(
    fit: Quadratic, low: float, high: float, *, level: float = DEFAULT_LEVEL
) -> tuple[float, float, Interval]:
    """Return by how much the curve rises from one place to another, its standard error, interval.

    Parameters
    ----------
    fit
        From `fit_quadratic`.
    low, high
        Places.
    level
        Of the interval.

    Raises
    ------
    ValueError
        A level outside (0, 1).

    Notes
    -----
    ``slope (high - low) + curvature ((high - centre)^2 - (low - centre)^2)`` is linear in what was
    fitted, so Student's t interval is exact for normal errors.

    Examples
    --------
    >>> steps = np.array([6.0, 8.0, 10.0, 12.0])
    >>> fit = fit_quadratic(steps, 9 - (steps - 13) ** 2 / 50, groups=conventions.group_by(n=4))
    >>> round(change(fit, 8.0, 10.0)[0], 6), round(change(fit, 10.0, 12.0)[0], 6)
    (0.32, 0.16)
    """
    conventions.check_level(level)
    direction = np.array([high - low, (high - fit.centre) ** 2 - (low - fit.centre) ** 2])
    rise = float(direction @ np.array([fit.slope, fit.curvature]))
    error = float(np.sqrt(max(0.0, float(direction @ fit.covariance @ direction))))
    interval = conventions.t_interval(estimate=rise, standard_error=error, df=fit.df, level=level)
    return rise, error, interval


def curvature_interval(fit: Quadratic, *, level: float = DEFAULT_LEVEL) -> Interval:
    """Return Student's t interval of the curvature.

    Examples
    --------
    >>> fit = fit_quadratic(
    ...     [1, 2, 3, 4, 5, 6], [0, 3, 4, 5, 4, 3], groups=conventions.group_by(n=6)
    ... )
    >>> found = curvature_interval(fit)
    >>> round(found.low, 3), round(found.high, 3)
    (-0.676, -0.324)
    """
    error = float(np.sqrt(fit.covariance[1, 1]))
    return conventions.t_interval(
        estimate=fit.curvature, standard_error=error, df=fit.df, level=level
    )


def turning_point(fit: Quadratic, *, level: float = DEFAULT_LEVEL) -> tuple[float, Interval] | None:
    """Return where the curve turns, with Fieller's interval; None if it need not turn at all.

    Notes
    -----
    ``centre - slope / (2 curvature)``. The interval is bounded exactly where the interval of the
    curvature leaves out 0.

    Examples
    --------
    >>> fit = fit_quadratic(
    ...     [1, 2, 3, 4, 5, 6], [0, 3, 4, 5, 4, 3], groups=conventions.group_by(n=6)
    ... )
    >>> place, interval = turning_point(fit)
    >>> round(place, 3), round(interval.low, 3), round(interval.high, 3)
    (4.043, 3.769, 4.471)
    """
    (of_slope, both), (_, of_curvature) = fit.covariance.tolist()
    found = ratio_interval(
        -fit.slope,
        2 * fit.curvature,
        variances=(of_slope, 4 * of_curvature),
        covariance=-2 * both,
        df=fit.df,
        level=level,
    )
    if found is None:
        return None
    place = fit.centre - fit.slope / (2 * fit.curvature)
    return place, Interval(fit.centre + found.low, fit.centre + found.high, level)


def ratio_interval(
    numerator: float,
    denominator: float,
    *,
    variances: tuple[float, float],
    covariance: float,
    df: float,
    level: float = DEFAULT_LEVEL,
) -> Interval | None:
    """Return Fieller's interval of a ratio of two estimates; None where it has no two ends.

    Parameters
    ----------
    numerator, denominator
        Estimates that are about normal.
    variances, covariance
        Of the two.
    df
        Degrees of freedom of the variances; infinite where they are known.
    level
        Of the interval.

    Raises
    ------
    ValueError
        A level outside (0, 1).

    Notes
    -----
    All ratios r for which ``(numerator - r denominator)^2`` is at most t^2 times its variance, a
    quadratic in r. They lie between two ends only if the denominator differs from 0 at this level.

    Source: Fieller 1954, J R Stat Soc B 16:175-185 (from memory).

    Examples
    --------
    >>> found = ratio_interval(14, 7, variances=(9, 4), covariance=0.0, df=10, level=0.90)
    >>> round(found.low, 3), round(found.high, 3)
    (1.051, 4.414)
    """
    conventions.check_level(level)
    t_square = float(stats.t.ppf(0.5 + level / 2, df)) ** 2
    a = denominator**2 - t_square * variances[1]
    if a <= 0:
        return None
    b = numerator * denominator - t_square * covariance
    c = numerator**2 - t_square * variances[0]
    # Not below 0 where a is positive, but for rounding.
    reach = float(np.sqrt(max(0.0, b * b - a * c)))
    return Interval(low=(b - reach) / a, high=(b + reach) / a, level=level)


def _lack_of_fit_p(
    places: FloatArray, values: FloatArray, groups: Groups, *, square: float, df: int
) -> float | None:
    # Levels of groups are taken out first: a column for each of a thousand sessions is slow.
    at_place = np.equal.outer(places, np.unique(places)).astype(np.float64)
    design = np.column_stack([conventions.centred(each, groups) for each in at_place.T])
    target = conventions.centred(values, groups)
    fitted, _, rank, _ = np.linalg.lstsq(design, target, rcond=None)
    left = target - design @ fitted
    pure_df = int(places.size - groups.n_groups - rank)
    pure = float(left @ left)
    if pure_df < 1 or df <= pure_df or pure <= (conventions.NO_SPREAD_M**2) * places.size:
        return None
    ratio = max(0.0, square - pure) / (df - pure_df) / (pure / pure_df)
    return float(stats.f.sf(ratio, df - pure_df, pure_df))
