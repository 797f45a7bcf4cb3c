"""What each step had to correct, and what it did: steering, attempt by attempt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import conventions
from analytics.core.conventions import DEFAULT_LEVEL, FloatArray, IntArray, NotEnoughAttempts

MIN_ATTEMPTS = 6
"""Attempts with both footfalls of a step below which its gain is not given; one more for each
further plan revision."""

MOST_NOISE = 0.5
"""Share of the variance of a footfall that reading errors may make up; above it the correction
for them would more than double the distance of the gain from 1, and is refused."""


@dataclass(frozen=True, slots=True)
class NeededMade:
    """How much of a deviation each step takes back. Arrays of shape (K - 1,) begin with step 1.

    Attributes
    ----------
    n
        Attempts with two neighbouring footfalls anywhere.
    n_attempts, df
        Attempts of each step, and the degrees of freedom of its line.
    gain_observed, standard_error
        Slope of made on needed, and its standard error: near 0 the step does not steer, near 1 it
        takes the whole deviation back.
    correlation, p_value
        Of needed and made; two-sided p that the slope is `null_gain`.
    null_gain
        Slope that reading errors alone make where nobody steers.
    gain, gain_low, gain_high
        Corrected for reading errors, with its interval; NaN where the correction is refused.
    needed_sd_m
        SD of what was needed: the spread of the footfall that the step starts from.
    """

    n: int
    n_attempts: IntArray
    df: IntArray
    gain_observed: FloatArray
    standard_error: FloatArray
    correlation: FloatArray
    p_value: FloatArray
    null_gain: FloatArray
    gain: FloatArray
    gain_low: FloatArray
    gain_high: FloatArray
    needed_sd_m: FloatArray


def needed_and_made(
    toe_m: npt.ArrayLike,
    *,
    measurement_sd_m: float = 0.0,
    revision: npt.ArrayLike | None = None,
    level: float = DEFAULT_LEVEL,
) -> NeededMade | NotEnoughAttempts:
    """Return how much of the deviation at its start each step takes back.

    Parameters
    ----------
    toe_m
        Shape (n, K), metres behind the take-off line: attempt j, footfall k; NaN where missing.
    measurement_sd_m
        SD of the reading error of one footfall.
    revision
        Shape (n,), labels of the plan revision; values are centred within it.
    level
        Of the intervals.

    Returns
    -------
    NeededMade or NotEnoughAttempts
        `MIN_ATTEMPTS` attempts with both footfalls of at least one step are needed, one more for
        each further revision.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite distances, fewer than two footfalls, a reading error
        below 0 or not finite, a level outside (0, 1).

    Notes
    -----
    Step k goes from footfall k to footfall k - 1. Needed is ``x = toe_k`` and made is
    ``y = toe_k - toe_(k-1)``, both less the mean of their revision: an athlete who stands farther
    from the pit than usual needs a longer step, so both have the same sign. The gain is the least
    squares slope ``g = sum xy / sum xx`` with ``n - revisions - 1`` degrees of freedom.

    x and y share the reading error of footfall k, which pushes the slope up. With s^2 the variance
    of x and sigma^2 that of the reading error the slope of an athlete who does not steer is
    ``sigma^2 / s^2``, and ``g = 1 - (1 - g_observed) s^2 / (s^2 - sigma^2)``. (Division by the
    reliability, the correction for an error in x alone, goes the wrong way: true 0.30, observed
    0.50, "corrected" 0.69.) It is refused where ``s^2 < 2 sigma^2``. The interval is that of the
    slope, stretched likewise; s^2 is taken as known in it.

    Edge cases: a step with too few attempts, or whose footfall has no spread, is NaN throughout. A
    step that takes back exactly what was needed has standard error 0 and p 0.

    Source: regression of the adjustment made on that needed, as Montagne et al. 2000 (J Motor
    Behav 32:37-43) relate the two; the correction for the shared error is ours.

    Examples
    --------
    >>> start = np.array([0.2, -0.1, 0.1, -0.2, 0.1, -0.1])
    >>> toe = np.column_stack([0.06 + 0.5 * start, 2.0 + start])
    >>> steering = needed_and_made(toe)
    >>> steering.gain.round(6).tolist(), steering.n_attempts.tolist()
    ([0.5], [6])
    """
    toe = check_footfalls(toe_m)
    conventions.check_level(level)
    if not 0 <= measurement_sd_m < np.inf:
        raise ValueError(f"measurement_sd_m must be 0 or more and finite, got {measurement_sd_m}")
    labels = conventions.group_by(revision, n=toe.shape[0]).index
    needed = MIN_ATTEMPTS + max(int(labels.max(initial=0)), 0)
    lines = [_line_of_step(toe[:, k], toe[:, k - 1], labels) for k in range(1, toe.shape[1])]
    n_attempts = np.array([line.n for line in lines], dtype=np.int64)
    enough = np.array([line.df >= MIN_ATTEMPTS - 2 for line in lines])
    if not enough.any():
        return NotEnoughAttempts(n=int(n_attempts.max(initial=0)), needed=needed)

    variance = np.array([line.needed_variance for line in lines])
    slope = np.array([line.slope for line in lines])
    error = np.array([line.standard_error for line in lines])
    r = np.array([line.correlation for line in lines])
    df = np.array([line.df for line in lines], dtype=np.int64)
    known = enough & (variance > 0)
    for figure in (variance, slope, error, r):
        figure[~known] = np.nan

    noise = measurement_sd_m**2
    with np.errstate(invalid="ignore"):
        null = noise / variance
        usable = known & (null <= MOST_NOISE)
        stretch = np.where(usable, 1 / (1 - np.where(usable, null, 0.0)), np.nan)
    gain = 1 - (1 - slope) * stretch
    half = stats.t.ppf(0.5 + level / 2, np.maximum(df, 1)) * error * stretch
    together = ~np.isnan(toe[:, 1:]) & ~np.isnan(toe[:, :-1])
    return NeededMade(
        n=int(together.any(axis=1).sum()),
        n_attempts=n_attempts,
        df=df,
        gain_observed=slope,
        standard_error=error,
        correlation=r,
        p_value=_p_values(slope - null, error, df),
        null_gain=null,
        gain=gain,
        gain_low=gain - half,
        gain_high=gain + half,
        needed_sd_m=np.sqrt(variance),
    )


def pass_through(gain: npt.ArrayLike, *, to_footfall: int = 0) -> float:
    """Return the share of an error at the start that is still there at a footfall.

    Parameters
    ----------
    gain
        Shape (n_steps,): the gain of each step, step 1, the last, first.
    to_footfall
        k of the footfall, 0 the take-off foot.

    Returns
    -------
    float
        NaN when a gain on the way is not known.

    Raises
    ------
    ValueError
        Not one dimension, or a footfall that the run-up does not have.

    Notes
    -----
    ``prod (1 - g_k)`` over the steps from the start to the footfall. Never divide by it: from 20
    attempts of a simulated athlete whose true inverse is 20, it came out between 8 and 140 in 95
    of 100 cases.

    Examples
    --------
    >>> round(pass_through([0.5, 0.5, 0.0, 0.0]), 3), pass_through([0.5, 0.5, 0.0], to_footfall=2)
    (0.25, 1.0)
    """
    gains = np.asarray(gain, dtype=np.float64)
    if gains.ndim != 1:
        raise ValueError(f"gain needs one value for each step, got shape {gains.shape}")
    if not 0 <= to_footfall <= gains.size:
        raise ValueError(f"to_footfall must lie between 0 and {gains.size}, got {to_footfall}")
    return float(np.prod(1 - gains[to_footfall:]))


def steers_late(toe_m: npt.ArrayLike) -> float:
    """Return how sure it is that steps 5 to 3 take back less than half of what steps 2 and 1 do.

    Parameters
    ----------
    toe_m
        Shape (n, K), as of `needed_and_made`; the last six footfalls are looked at.

    Returns
    -------
    float
        0 to 1; 0 where too few attempts say.

    Notes
    -----
    The gains of the steps of each part are averaged, the surer ones counting more.

    Examples
    --------
    >>> steers_late([[0.06, 2.06, 4.20, 6.20, 8.30, 10.40]] * 3)
    0.0
    """
    steering = needed_and_made(np.asarray(toe_m, dtype=np.float64)[:, :6])
    if isinstance(steering, NotEnoughAttempts):
        return 0.0
    (last, last_error), (before, before_error) = (
        _average_gain(steering.gain_observed[steps], steering.standard_error[steps])
        for steps in (slice(0, 2), slice(2, 5))
    )
    error = float(np.hypot(last_error / 2, before_error))
    if not error > 0:
        return 0.0
    df = max(int(steering.df.min()), 1)
    return float(stats.t.cdf((last / 2 - before) / error, df))


def _average_gain(gain: FloatArray, error: FloatArray) -> tuple[float, float]:
    """Return the average of some gains and its standard error; NaN when one is not known."""
    if not np.all(error > 0):
        return float("nan"), float("nan")
    weight = 1 / error**2
    return float(np.sum(weight * gain) / np.sum(weight)), float(1 / np.sqrt(np.sum(weight)))


def check_footfalls(toe_m: npt.ArrayLike) -> FloatArray:
    """Refuse what is not attempts by at least two footfalls.

    Raises
    ------
    ValueError
        Another shape, or infinite distances.

    Examples
    --------
    >>> check_footfalls([[0.1, 2.2]]).shape
    (1, 2)
    """
    toe = np.asarray(toe_m, dtype=np.float64)
    if toe.ndim != 2 or toe.shape[1] < 2:
        raise ValueError(f"toe_m needs attempts by at least 2 footfalls, got shape {toe.shape}")
    conventions.check_not_infinite(toe, name="toe_m")
    return toe


@dataclass(frozen=True, slots=True)
class _Line:
    n: int
    df: int
    needed_variance: float
    slope: float
    standard_error: float
    correlation: float


def _line_of_step(start: FloatArray, end: FloatArray, labels: IntArray) -> _Line:
    paired = ~np.isnan(start) & ~np.isnan(end)
    n = int(paired.sum())
    groups = conventions.group_by(labels[paired], n=n)
    df = n - groups.n_groups - 1
    if df < 1:
        return _Line(n, max(df, 0), np.nan, np.nan, np.nan, np.nan)
    needed = conventions.centred(start[paired], groups)
    made = conventions.centred((start - end)[paired], groups)
    size = float(needed @ needed)
    variance = size / (n - groups.n_groups)
    # Less than any tape can show is no spread, but for rounding.
    if variance <= conventions.NO_SPREAD_M**2:
        return _Line(n, df, 0.0, np.nan, np.nan, np.nan)
    slope = float(needed @ made) / size
    left = made - slope * needed
    made_size = float(made @ made)
    r = float(needed @ made) / np.sqrt(size * made_size) if made_size > 0 else 0.0
    return _Line(n, df, variance, slope, float(np.sqrt(left @ left / df / size)), float(r))


def _p_values(distance: FloatArray, error: FloatArray, df: IntArray) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.abs(distance) / error
    # A line without scatter is either what nothing steers to, or surely another.
    t = np.where((error == 0) & (distance == 0), 0.0, t)
    return np.asarray(2 * stats.t.sf(t, np.maximum(df, 1)), dtype=np.float64)
