"""Exponentially weighted averages and cumulative sums, one value at a time."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from analytics.core import conventions
from analytics.core.conventions import FloatArray

CUSUM_ALLOWANCE = 0.5
"""Allowance k of the cumulative sums that date a change of level; they never raise an alarm."""


def ewma_step(before: float, value: float, *, weight: float) -> float:
    """Return the exponentially weighted moving average after one more value.

    Examples
    --------
    >>> round(ewma_step(50.0, 52.0, weight=0.3), 6)
    50.6
    """
    return (1 - weight) * before + weight * value


def ewma(values: npt.ArrayLike, *, weight: float, start: float) -> FloatArray:
    """Return the exponentially weighted moving average after each value.

    Parameters
    ----------
    values
        Shape (n,), any unit. NaN leaves the average as it was.
    weight
        Of the latest value, inside (0, 1].
    start
        Average before the first value: a target, or the last average of an earlier call.

    Returns
    -------
    ndarray
        Shape (n,).

    Raises
    ------
    ValueError
        A weight outside (0, 1], infinite values.

    Notes
    -----
    ``ewma_i = (1 - weight) ewma_(i-1) + weight x_i`` (NIST/SEMATECH e-Handbook 6.3.2.4).

    Examples
    --------
    >>> ewma([52.0, 47.0, 53.0], weight=0.3, start=50.0).round(3).tolist()
    [50.6, 49.52, 50.564]
    """
    array = np.asarray(values, dtype=np.float64)
    conventions.check_not_infinite(array, name="values")
    _check_weight(weight)
    averages = np.empty(array.size)
    average = start
    for position, value in enumerate(array.tolist()):
        if not math.isnan(value):
            average = ewma_step(average, value, weight=weight)
        averages[position] = average
    return averages


def ewma_limits(
    n: int, *, target: float, sd: float, weight: float, width: float
) -> tuple[FloatArray, FloatArray]:
    """Return the lower and the upper limit of an EWMA after each of `n` values.

    Parameters
    ----------
    n
        Values.
    target, sd
        Of single values, in their unit.
    weight
        As in `ewma`.
    width
        In standard deviations of the average.

    Returns
    -------
    tuple of ndarray
        Each of shape (n,). They widen toward ``target ± width sd sqrt(weight / (2 - weight))``.

    Raises
    ------
    ValueError
        A weight outside (0, 1].

    Notes
    -----
    ``width sd sqrt(weight / (2 - weight) (1 - (1 - weight)^(2 i)))`` (NIST/SEMATECH e-Handbook
    6.3.2.4). The level chart uses the value for large i from the first session on.

    Examples
    --------
    >>> low, high = ewma_limits(1, target=50.0, sd=2.0539, weight=0.3, width=3.0)
    >>> round(float(low[0]), 4), round(float(high[0]), 4)
    (48.1515, 51.8485)
    """
    _check_weight(weight)
    i = np.arange(1, n + 1)
    half = width * sd * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * i)))
    return target - half, target + half


def cusum_step(before: float, value: float, *, allowance: float = CUSUM_ALLOWANCE) -> float:
    """Return the tabular cumulative sum after one more standardised value.

    Notes
    -----
    ``max(0, before + value - allowance)``; the sum toward the other side takes ``-value``
    (Montgomery & Runger, Applied Statistics and Probability for Engineers, chapter 16).

    Examples
    --------
    >>> cusum_step(0.25, 1.0), cusum_step(0.25, -1.0)
    (0.75, 0.0)
    """
    return max(0.0, before + value - allowance)


def _check_weight(weight: float) -> None:
    if not 0 < weight <= 1:
        raise ValueError(f"weight must lie in (0, 1], got {weight}")
