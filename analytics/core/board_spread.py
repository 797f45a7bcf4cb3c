"""How sure is it that the spread at the board is below a limit?

The spread is that of an attempt of a new session: what attempts of one session differ by, and what
sessions differ by.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import integrate, interpolate, optimize, stats

from analytics.core import conventions
from analytics.core.conventions import DEFAULT_LEVEL, FloatArray, Interval
from analytics.core.next_attempts import NextAttempts

# Against sums over 400 x 800 places the probabilities of the tests err by less than 0.006 with
# sessions; without them by less than 0.0001.
_FINER = 32
_ROUNDING = 1e-9


def probability_below(toe: NextAttempts, limit_m: float) -> float:
    """Return how sure it is that the SD of an attempt of a new session is at most a limit.

    Parameters
    ----------
    toe
        From `next_attempts.expect_toe`; of `next_attempts.known` the SD is known.
    limit_m
        Metres.

    Raises
    ------
    ValueError
        A limit that is not positive and finite.

    Notes
    -----
    The SD is ``s sqrt(1 + ratio^2)``, s that within sessions, ratio that of the session effect as
    a share of it, both integrated over all that the attempts allow (`next_attempts.expect_toe`).
    Without sessions and hidden no jumps it is exactly ``P(chi2 >= df s^2 / limit^2)`` with the
    n - 1 degrees of freedom of the sample SD, one fewer for each further plan revision.

    Edge cases: SDs below `baselines.SMALLEST_SD_M` are not believed, so a limit below that has the
    probability 0.

    Source: Gelman et al., Bayesian Data Analysis, on the normal model with the prior 1 / SD (from
    memory).

    Examples
    --------
    >>> from analytics.core import next_attempts
    >>> toe = np.array([0.16, 0.02, 0.10, -0.04, 0.06, 0.18])
    >>> expected = next_attempts.expect_toe(toe, toe < 0)
    >>> round(probability_below(expected, 0.10), 3), round(probability_below(expected, 0.20), 3)
    (0.62, 0.972)
    """
    if not 0 < limit_m < np.inf:
        raise ValueError(f"limit_m must be positive and finite, got {limit_m}")
    return _probability_below(_cumulated(toe), limit_m)


def typical_sd(toe: NextAttempts) -> float:
    """Return the SD that is as probably too high as too low, metres.

    Parameters
    ----------
    toe
        As for `probability_below`.

    Examples
    --------
    >>> from analytics.core import next_attempts
    >>> toe = np.array([0.16, 0.02, 0.10, -0.04, 0.06, 0.18])
    >>> round(typical_sd(next_attempts.expect_toe(toe, toe < 0)), 4)
    0.0899
    """
    return _sd_at(toe, 0.5)


def sd_interval(toe: NextAttempts, *, level: float = DEFAULT_LEVEL) -> Interval:
    """Return the range in which the SD of an attempt of a new session lies.

    Parameters
    ----------
    toe
        As for `probability_below`.
    level
        Probability of the range; as much is left below it as above.

    Raises
    ------
    ValueError
        A level outside (0, 1).

    Notes
    -----
    Without sessions and hidden no jumps it is the chi-square interval (`conventions.sd_interval`).

    Examples
    --------
    >>> from analytics.core import next_attempts
    >>> toe = np.array([0.16, 0.02, 0.10, -0.04, 0.06, 0.18])
    >>> found = sd_interval(next_attempts.expect_toe(toe, toe < 0))
    >>> round(found.low, 3), round(found.high, 3)
    (0.052, 0.206)
    """
    conventions.check_level(level)
    tail = (1 - level) / 2
    return Interval(low=_sd_at(toe, tail), high=_sd_at(toe, 1 - tail), level=level)


def chance_to_show(true_sd_m: float, *, limit_m: float, n: int, sure: float = 0.8) -> float:
    """Return how often so many attempts show that a spread is below a limit.

    Parameters
    ----------
    true_sd_m
        The athlete's own SD at the board.
    limit_m
        The limit.
    n
        Attempts, all measured, of one plan revision, in sessions that do not differ.
    sure
        Probability at which it counts as shown.

    Raises
    ------
    ValueError
        SDs that are not positive, fewer than two attempts, a probability outside (0, 1).

    Notes
    -----
    Shown if ``(n - 1) s^2 <= limit^2 chi2(1 - sure)``, so the chance is
    ``P(chi2 <= chi2(1 - sure) limit^2 / true^2)``, all with n - 1 degrees of freedom.

    Examples
    --------
    >>> [round(chance_to_show(0.08, limit_m=0.10, n=n), 2) for n in (15, 40)]
    [0.61, 0.87]
    >>> round(chance_to_show(0.12, limit_m=0.10, n=15), 2)
    0.05
    """
    if not (0 < true_sd_m < np.inf and 0 < limit_m < np.inf):
        raise ValueError(f"SDs must be positive and finite, got {true_sd_m} and {limit_m}")
    if n < 2:
        raise ValueError(f"n must be at least 2, got {n}")
    conventions.check_level(sure)
    limit = stats.chi2.ppf(1 - sure, n - 1)
    return float(stats.chi2.cdf(limit * (limit_m / true_sd_m) ** 2, n - 1))


@dataclass(frozen=True, slots=True)
class _Cumulated:
    """How probable an SD within sessions up to `log_sd` is for each ratio, shape (r, places)."""

    log_sd: FloatArray
    probability: FloatArray
    stretch: FloatArray


def _cumulated(toe: NextAttempts) -> _Cumulated:
    stretch = np.sqrt(1 + toe.session_ratio**2)
    log_sd = np.log(toe.own_sd_m[0])
    if log_sd.size == 1:
        return _Cumulated(log_sd, toe.weight, stretch)
    finer = np.linspace(log_sd[0], log_sd[-1], _FINER * (log_sd.size - 1) + 1)
    log_weight = np.log(np.maximum(toe.weight, np.finfo(float).tiny))
    weight = np.exp(interpolate.CubicSpline(log_sd, log_weight, axis=1)(finer))
    up_to = integrate.cumulative_trapezoid(weight, finer, axis=1, initial=0)
    return _Cumulated(finer, up_to / up_to[:, -1:] * toe.weight.sum(axis=1, keepdims=True), stretch)


def _probability_below(cumulated: _Cumulated, limit_m: float) -> float:
    below = 0.0
    for stretch, up_to in zip(cumulated.stretch, cumulated.probability, strict=True):
        # Below the smallest SD that is believed there is nothing.
        limit = float(np.log(limit_m / stretch))
        below += float(np.interp(limit, cumulated.log_sd, up_to, left=0.0))
    return min(1.0, below)


def _sd_at(toe: NextAttempts, share: float) -> float:
    """Return the SD that is at most so large with this probability."""
    cumulated = _cumulated(toe)
    low = float(toe.own_sd_m[0, 0] * cumulated.stretch.min())
    high = float(toe.own_sd_m[0, -1] * cumulated.stretch.max())

    def excess(sd_m: float) -> float:
        return _probability_below(cumulated, sd_m) - share

    if low == high:
        return low
    return float(optimize.brentq(excess, low, high * (1 + _ROUNDING), xtol=1e-12))
