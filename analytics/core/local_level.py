"""The present bias of an athlete, followed from attempt to attempt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from analytics.core import conventions
from analytics.core.conventions import FloatArray


@dataclass(frozen=True, slots=True)
class LevelSds:
    """How far attempts scatter about the level, and how far the level itself moves. Metres.

    Attributes
    ----------
    error_m
        Of one attempt about the level, reading error included; above 0.
    attempt_m
        By which the level moves from one attempt to the next of a session.
    session_m
        By which it moves before the first attempt of another session, in place of `attempt_m`.
    first_m
        Of the level before the first attempt: how wrong a fresh mark usually is.
    """

    error_m: float
    attempt_m: float
    session_m: float
    first_m: float


@dataclass(frozen=True, slots=True)
class Level:
    """The level after each attempt.

    Attributes
    ----------
    mean_m, sd_m
        Shape (n,): what is believed of the level once the attempt is known.
    log_likelihood
        Of all attempts, as each was foreseen from those before it.
    """

    mean_m: FloatArray
    sd_m: FloatArray
    log_likelihood: float


def follow_level(
    error_m: npt.ArrayLike,
    *,
    sds: LevelSds,
    session: npt.ArrayLike | None = None,
    moved_m: npt.ArrayLike = 0.0,
    loosened_m: npt.ArrayLike = 0.0,
    below_m: npt.ArrayLike = np.nan,
) -> Level:
    """Follow the level of errors by a local-level filter.

    Parameters
    ----------
    error_m
        Shape (n,), metres, in the order of the attempts; NaN where not measured.
    sds
        Of the attempts about the level, and of the level.
    session
        Shape (n,), labels; None for one session.
    moved_m
        By how much the level is known to have moved before each attempt, such as by a moved mark.
    loosened_m
        SD of a jump of unknown size that the level may have made before each attempt, such as at a
        new plan revision or a growth spurt.
    below_m
        What an error that was not measured is known to lie below: a no jump that nobody measured
        landed beyond the line. NaN where nothing is known.

    Returns
    -------
    Level

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, SDs that are negative, not finite or, of an
        attempt, 0.

    Notes
    -----
    Before attempt i the variance of the level grows by ``session_m^2`` if it opens a session, by
    ``attempt_m^2`` if not, and by ``loosened_m^2``. With variance v before the attempt and r =
    ``error_m^2``, the mean moves by ``v / (v + r)`` of what the attempt differs from it (Kalman
    1960; Durbin & Koopman 2012, Time Series Analysis by State Space Methods, chapter 2; both from
    memory). The first level is N(0, ``first_m^2``).

    An error known only to lie below a bound changes mean and variance to those of the level given
    that, which is exact for one such attempt; the level is then taken as normal again.

    Edge cases: no attempt at all gives empty arrays and a log likelihood of 0.

    Examples
    --------
    >>> sds = LevelSds(error_m=0.10, attempt_m=0.0, session_m=0.0, first_m=0.10)
    >>> level = follow_level([0.20, 0.10], sds=sds)
    >>> level.mean_m.round(3).tolist(), level.sd_m.round(4).tolist()
    ([0.1, 0.1], [0.0707, 0.0577])
    """
    error = np.asarray(error_m, dtype=np.float64)
    if error.ndim != 1:
        raise ValueError(f"error_m must have one dimension, got shape {error.shape}")
    conventions.check_not_infinite(error, name="error_m")
    _check_sds(sds)
    run = conventions.run_index(session, n=error.size)
    moved = _each(moved_m, n=error.size, name="moved_m")
    loosened = _each(loosened_m, n=error.size, name="loosened_m")
    below = _each(below_m, n=error.size, name="below_m", may_miss=True)
    grown = np.where(np.diff(run, prepend=run[:1]) > 0, sds.session_m, sds.attempt_m) ** 2
    grown[:1] = 0.0
    grown += loosened**2

    noise = sds.error_m**2
    mean, variance = 0.0, sds.first_m**2
    means, variances = np.empty(error.size), np.empty(error.size)
    foreseen, foreseen_sd = np.empty(error.size), np.empty(error.size)
    for i in range(error.size):
        mean += moved[i]
        variance += grown[i]
        weight = variance / (variance + noise)
        foreseen[i], foreseen_sd[i] = mean, np.sqrt(variance + noise)
        if not np.isnan(error[i]):
            mean += weight * (error[i] - mean)
            variance = weight * noise
        elif not np.isnan(below[i]):
            z = (below[i] - mean) / foreseen_sd[i]
            hazard = _hazard(z)
            mean -= weight * foreseen_sd[i] * hazard
            variance *= 1 - weight * min(hazard * (hazard + z), 1.0)
        means[i], variances[i] = mean, variance
    measured = stats.norm.logpdf(error, foreseen, foreseen_sd)
    beyond = stats.norm.logcdf(below, foreseen, foreseen_sd)
    known = np.where(np.isnan(error), beyond, measured)
    return Level(mean_m=means, sd_m=np.sqrt(variances), log_likelihood=float(np.nansum(known)))


def _hazard(z: float) -> float:
    """Return ``pdf(z) / cdf(z)`` of the normal distribution, far below 0 too."""
    return float(np.sqrt(2 / np.pi) / special.erfcx(-z / np.sqrt(2)))


def _each(values: npt.ArrayLike, *, n: int, name: str, may_miss: bool = False) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    if array.shape not in {(), (n,)}:
        raise ValueError(f"{name} must be one number or {n} of them, got shape {array.shape}")
    conventions.check_not_infinite(array, name=name)
    if not may_miss and np.any(np.isnan(array)):
        raise ValueError(f"{name} must be finite")
    return np.broadcast_to(array, (n,))


def _check_sds(sds: LevelSds) -> None:
    values = (sds.error_m, sds.attempt_m, sds.session_m, sds.first_m)
    if not all(0 <= value < np.inf for value in values) or sds.error_m == 0:
        raise ValueError(f"SDs must be finite and 0 or more, that of an attempt above 0, got {sds}")
