"""Spread and steering of own attempts, as the habits of a simulated athlete."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.core import conventions, needed_made, wind
from analytics.core.conventions import BoolArray, FloatArray, NotEnoughAttempts
from analytics.core.simulator import Athlete

MIN_OWN_ATTEMPTS = 15
"""Complete attempts below which nobody's habits are simulated; ours."""

# Rounds after which hidden toes are where they are expected, and by how much they may still move.
_MOST_ROUNDS, _SETTLED_M = 200, 1e-5


def usable(toe_m: npt.ArrayLike, no_jump: npt.ArrayLike | None = None) -> BoolArray:
    """Return which attempts tell of habits: every footfall measured, or all but a hidden toe.

    Parameters
    ----------
    toe_m
        Shape (n, steps + 1), NaN where not measured.
    no_jump
        Shape (n,): an unmeasured take-off foot of such an attempt came down beyond the line.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values.

    Examples
    --------
    >>> gap = float("nan")
    >>> usable([[0.1, 2.0], [gap, 2.1], [gap, 2.2], [0.1, gap]], [False, True, False, False])
    array([ True,  True, False, False])
    """
    toe = needed_made.check_footfalls(toe_m)
    beyond = np.zeros(toe.shape[0], dtype=np.bool_) if no_jump is None else np.asarray(no_jump)
    if beyond.shape != toe.shape[:1]:
        raise ValueError(f"{toe.shape[0]} attempts are no jumps or not: {beyond.shape}")
    unknown = np.isnan(toe)
    return np.asarray(~unknown[:, 1:].any(axis=1) & (~unknown[:, 0] | (beyond == 1)))


def own_habits(
    toe_m: npt.ArrayLike,
    *,
    like: Athlete,
    wind_mps: npt.ArrayLike | None = None,
    no_jump: npt.ArrayLike | None = None,
) -> Athlete | NotEnoughAttempts:
    """Return a simulated athlete whose spread and steering are those of own attempts.

    Parameters
    ----------
    toe_m
        Shape (n, steps + 1): footfalls of one plan revision, k = 0 the take-off foot, NaN where
        not measured.
    like
        Whose speed, distances and other habits are taken; its number of steps counts.
    wind_mps
        Shape (n,): as read, NaN where nobody did: such an attempt counts as made in the usual wind.
        Without it what the wind did is taken for unsteadiness.
    no_jump
        Shape (n,): as `usable` takes it. Without it a no jump that nobody measured is left out.

    Returns
    -------
    Athlete or NotEnoughAttempts
        `MIN_OWN_ATTEMPTS` complete attempts are needed; hidden toes come on top. It aims where the
        attempts landed on average, without session effect or perception: both are in the spread
        that was measured, and in the gains. Its wind is that of the attempts less its mean: 0 is
        the usual one.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values.

    Notes
    -----
    Of each step the gain is the slope of made on needed (`needed_made`), its unsteadiness the SD of
    what is left on n - 2 degrees of freedom: then the SD at the board comes out as measured, but
    for the degrees of freedom. What wind adds to a step (`wind.usual_wind_slope`, of a usual
    athlete) is taken out of what was made, and stays in what was needed.

    Attempts with a gap are left out whole. A no jump whose toe alone nobody measured is none of
    them: the toe lies beyond the line, and where it is expected there, and how uncertainly, follows
    from the footfall before it and the habits of the last step, which follow from it in turn (the
    EM algorithm of a censored regression, Dempster, Laird & Rubin 1977, from memory).

    Examples
    --------
    >>> from analytics.core import simulator
    >>> made = simulator.simulate(
    ...     Athlete(), attempts_by_session=[60], rng=np.random.default_rng(1)
    ... )
    >>> own = own_habits(made.toe_m, like=Athlete())
    >>> len(own.gains), own.wind_sd_mps
    (16, 0.0)
    """
    toe = needed_made.check_footfalls(toe_m)
    if toe.shape[1] != like.n_steps + 1:
        raise ValueError(f"{like.n_steps} steps have {like.n_steps + 1} footfalls: {toe.shape}")
    counts = usable(toe, no_jump)
    n_complete = int(np.count_nonzero(~np.isnan(toe).any(axis=1)))
    if n_complete < MIN_OWN_ATTEMPTS:
        return NotEnoughAttempts(n=n_complete, needed=MIN_OWN_ATTEMPTS)
    used = toe[counts].copy()
    n = used.shape[0]
    blown = _off_usual_wind(wind_mps, counts)
    felt = wind.felt_wind(blown)
    hidden = np.isnan(used[:, 0])
    used[hidden, 0] = 0.0
    variance = np.zeros(n)
    steps = _steps_of(used, felt, variance)
    for _ in range(_MOST_ROUNDS if hidden.any() else 0):
        last = used[hidden, 0]
        expected = _expected_last_step(used[hidden], felt[hidden], steps)
        used[hidden, 0], variance[hidden] = _beyond_line(used[hidden, 1] - expected, steps.left[0])
        steps = _steps_of(used, felt, variance)
        if np.max(np.abs(used[hidden, 0] - last)) < _SETTLED_M:
            break
    return replace(
        like,
        aim_m=float(steps.usual_m[0]),
        mark_error_m=0.0,
        start_sd_m=float(used[:, -1].std(ddof=1)),
        session_sd_m=0.0,
        persistence=0.0,
        step_sds_m=_plain(steps.left),
        gains=_plain(steps.gains),
        perception_sd_m=0.0,
        perception_sd_share=0.0,
        wind_sd_mps=float(blown.std(ddof=1)),
        mean_wind_mps=0.0,
        fatigue=0.0,
        fatigue_spread=0.0,
        growth=0.0,
        speed_cv=0.0,
    )


@dataclass(frozen=True, slots=True)
class _Steps:
    """What the steps of some attempts have in common."""

    usual_m: FloatArray
    by_wind: FloatArray  # of each step, metres per m/s
    mean_felt: float
    gains: FloatArray
    left: FloatArray  # SD of each step


def _steps_of(toe: FloatArray, felt: FloatArray, toe_variance: FloatArray) -> _Steps:
    """Return the habits of the steps, where each toe is known to a variance."""
    n = toe.shape[0]
    usual = toe.mean(axis=0)
    off = toe - usual
    by_wind = np.diff(wind.usual_wind_slope(np.maximum(usual[-1] - usual, 0.0)))
    needed = off[:, 1:]
    made = np.diff(off, axis=1) - np.outer(felt - felt.mean(), by_wind)
    squares = np.sum(needed**2, axis=0)
    spread = squares > n * conventions.NO_SPREAD_M**2
    gains = np.zeros(needed.shape[1])
    gains[spread] = np.sum(needed * made, axis=0)[spread] / squares[spread]
    left = np.sum((made - gains * needed) ** 2, axis=0)
    left[0] += toe_variance.sum()
    return _Steps(usual, by_wind, float(felt.mean()), gains, np.sqrt(left / (n - 2)))


def _expected_last_step(toe: FloatArray, felt: FloatArray, steps: _Steps) -> FloatArray:
    """Return how long the last step should be, from the footfall before it and the wind."""
    usual = steps.usual_m
    needed = toe[:, 1] - usual[1]
    length: FloatArray = usual[1] - usual[0] + steps.gains[0] * needed
    length += steps.by_wind[0] * (felt - steps.mean_felt)
    return length


def _beyond_line(mean_m: FloatArray, sd_m: float) -> tuple[FloatArray, FloatArray]:
    """Return mean and variance of normal toes that came down beyond the line."""
    if sd_m < conventions.NO_SPREAD_M:
        return np.minimum(mean_m, 0.0), np.zeros(mean_m.size)
    at = -mean_m / sd_m
    # Density over probability; of logarithms, since both are 0 to the computer far out.
    ratio = np.exp(-0.5 * at**2 - 0.5 * np.log(2 * np.pi) - special.log_ndtr(at))
    return mean_m - sd_m * ratio, sd_m**2 * np.maximum(1 - ratio * (at + ratio), 0.0)


def _off_usual_wind(wind_mps: npt.ArrayLike | None, counts: BoolArray) -> FloatArray:
    """Return by how much the wind of each complete attempt was off their mean, 0 if unknown."""
    if wind_mps is None:
        return np.zeros(np.count_nonzero(counts))
    read = np.asarray(wind_mps, dtype=np.float64)
    if read.shape != counts.shape:
        raise ValueError(f"{counts.size} attempts have as many winds: {read.shape}")
    conventions.check_not_infinite(read, name="wind_mps")
    read = read[counts]
    known = ~np.isnan(read)
    mean = float(read[known].mean()) if known.any() else 0.0
    return np.where(known, read - mean, 0.0)


def _plain(values: Sequence[float] | FloatArray) -> tuple[float, ...]:
    return tuple(float(value) for value in values)
