"""What would another habit change? Simulated twice with the same luck."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analytics.core import conventions, needed_made, simulator, wind
from analytics.core.conventions import (
    DEFAULT_LEVEL,
    BoolArray,
    FloatArray,
    Interval,
    NotEnoughAttempts,
)
from analytics.core.simulator import Athlete

MIN_OWN_ATTEMPTS = 15
"""Complete attempts below which nobody's habits are simulated; ours."""

SESSIONS, ATTEMPTS_EACH = 2000, 6
"""What is simulated of each athlete unless more or less is asked for."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One figure before and after a change of habits.

    Attributes
    ----------
    before, after
        As simulated.
    change
        After less before.
    monte_carlo_error
        Standard error of `change` from simulating so few attempts; it says nothing of how well the
        habits are known.
    interval
        Of `change`, 95 % of the Monte Carlo error alone.
    """

    before: float
    after: float
    change: float
    monte_carlo_error: float
    interval: Interval


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What a change of habits would do.

    Attributes
    ----------
    n_sessions, n_attempts
        Simulated of each.
    no_jump_share
        Share of no jumps.
    mean_square_error_m2
        Of the toe against the aim, square metres: bias and spread in one.
    official_m
        Mean of the best official distance of a session, of those with a valid jump in both; None
        where fewer than two have one.
    """

    n_sessions: int
    n_attempts: int
    no_jump_share: Outcome
    mean_square_error_m2: Outcome
    official_m: Outcome | None


def what_if(
    before: Athlete,
    after: Athlete,
    *,
    rng: np.random.Generator,
    n_sessions: int = SESSIONS,
    attempts_each: int = ATTEMPTS_EACH,
    aims_m: tuple[float, float] | None = None,
) -> WhatIf:
    """Simulate two athletes with the same luck and say what differs.

    Parameters
    ----------
    before, after
        The athlete as he is, and with another habit; with as many steps.
    rng
        Source of chance.
    n_sessions, attempts_each
        Sessions, at least 100, and attempts in each, at least 1.
    aims_m
        Where the plan wants the toe, before and after, if that is not where the athletes steer to:
        whoever lands short on average has habits around that place, and an error all the same.

    Returns
    -------
    WhatIf

    Raises
    ------
    ValueError
        Different numbers of steps, too few sessions or attempts, habits out of their range.

    Notes
    -----
    Common random numbers: both draw the same chance in the same order (`simulator.simulate`), so
    that what one attempt owes to luck falls out of the difference. Its standard error is that of
    the sessions' differences over the root of their number, since attempts of a session share
    their day (L'Ecuyer 1994, from memory).

    Two uncertainties are not in it: how well the habits are known, and whether a model athlete is
    one. Read it as which of two changes promises more, not as a promise.

    Whoever trains a habit trains load: the coach on the spot decides; pain, growth spurts, a wet or
    uneven runway or an unsafe pit stop the session.

    Examples
    --------
    >>> me = Athlete()
    >>> calm = steadier(me, first_step=16, last_step=11, factor=0.5)
    >>> found = what_if(me, calm, rng=np.random.default_rng(1), n_sessions=400)
    >>> abs(found.no_jump_share.change) < 0.02
    True
    """
    if before.n_steps != after.n_steps:
        raise ValueError(
            f"both need the same number of steps, got {before.n_steps} and {after.n_steps}"
        )
    if n_sessions < 100 or attempts_each < 1:
        raise ValueError(
            f"needs 100 sessions and 1 attempt each at least, got {n_sessions}, {attempts_each}"
        )
    seed = int(rng.integers(2**63))
    counts = [attempts_each] * n_sessions
    shape = (n_sessions, attempts_each)
    beyond, square, best = [], [], []
    aims_m = aims_m or (before.aim_m, after.aim_m)
    for athlete, aim_m in zip((before, after), aims_m, strict=True):
        made = simulator.simulate(
            athlete, attempts_by_session=counts, rng=np.random.default_rng(seed)
        )
        beyond.append(made.no_jump.reshape(shape).mean(axis=1))
        square.append(((made.true_board_m - aim_m) ** 2).reshape(shape).mean(axis=1))
        best.append(np.nan_to_num(made.official_m, nan=-np.inf).reshape(shape).max(axis=1))
    valid = np.isfinite(best[0]) & np.isfinite(best[1])
    return WhatIf(
        n_sessions=n_sessions,
        n_attempts=n_sessions * attempts_each,
        no_jump_share=_outcome(beyond[0], beyond[1]),
        mean_square_error_m2=_outcome(square[0], square[1]),
        official_m=(
            _outcome(best[0][valid], best[1][valid]) if np.count_nonzero(valid) > 1 else None
        ),
    )


def steadier(athlete: Athlete, *, first_step: int, last_step: int, factor: float) -> Athlete:
    """Return the athlete with another unsteadiness in some of the steps.

    Parameters
    ----------
    athlete
        Whose.
    first_step, last_step
        Of the part, counted back from the board: 16 and 11 for the first six of sixteen steps. A
        part that begins with the first step takes the start error along.
    factor
        What the SDs are multiplied by: 0.5 halves them.

    Raises
    ------
    ValueError
        Steps that the run-up does not have, a factor that is negative or not finite.

    Examples
    --------
    >>> calm = steadier(Athlete(n_steps=4), first_step=4, last_step=3, factor=0.5)
    >>> calm.step_sds_m, calm.start_sd_m
    ((0.05, 0.05, 0.025, 0.025), 0.03)
    """
    if not 1 <= last_step <= first_step <= athlete.n_steps:
        raise ValueError(f"steps {first_step} to {last_step} are not among 1 to {athlete.n_steps}")
    if not 0 <= factor < conventions.LARGEST:
        raise ValueError(f"factor must be finite and 0 or more, got {factor}")
    sds = simulator.step_sds(athlete).copy()
    sds[last_step - 1 : first_step] *= factor
    changed = replace(athlete, step_sds_m=tuple(sds.tolist()))
    if first_step == athlete.n_steps:
        changed = replace(changed, start_sd_m=athlete.start_sd_m * factor)
    return changed


def expected_board(athlete: Athlete) -> tuple[float, float]:
    """Return mean and SD of the toe-to-board distance without simulating.

    Parameters
    ----------
    athlete
        Without fatigue, growth or an unsteady speed.

    Returns
    -------
    tuple
        Mean and SD of the true toe-to-board distance, metres.

    Raises
    ------
    ValueError
        Fatigue, growth or an unsteady speed: they have no such form here.

    Notes
    -----
    A deviation passes a step by ``1 - g``; each step adds the variance of its length and that of
    perception times g^2, so ``v_(k-1) = (1 - g)^2 v_k + s_k^2 + g^2 p_k^2``. Wind adds in one
    piece, since all steps feel the same. Steps are taken as never too short or too long.

    Examples
    --------
    >>> mean, sd = expected_board(Athlete(wind_sd_mps=0.0))
    >>> round(mean, 3), round(sd, 3)
    (0.06, 0.064)
    """
    if any((athlete.fatigue, athlete.fatigue_spread, athlete.growth, athlete.speed_cv)):
        raise ValueError("fatigue, growth and an unsteady speed have no closed form")
    plan = simulator.plan_run_up(athlete)
    slope = wind.usual_wind_slope(plan.start_mark_m - plan.toe_m)
    sds, gains = simulator.step_sds(athlete), simulator.step_gains(athlete)
    variance = athlete.start_sd_m**2 + athlete.session_sd_m**2
    mean, by_wind = athlete.mark_error_m, 0.0
    for k in range(athlete.n_steps, 0, -1):
        gain = gains[k - 1]
        blurred = athlete.perception_sd_m + athlete.perception_sd_share * plan.toe_m[k]
        variance = (1 - gain) ** 2 * variance + sds[k - 1] ** 2 + (gain * blurred) ** 2
        mean = (1 - gain) * mean
        by_wind = (1 - gain) * by_wind - (slope[k] - slope[k - 1])
    at, spread = athlete.mean_wind_mps, athlete.wind_sd_mps
    felt = at - (at**2 + spread**2) / 16
    felt_variance = (spread * (1 - at / 8)) ** 2 + 2 * (spread**2 / 16) ** 2
    return (
        float(athlete.aim_m + mean + by_wind * felt),
        float(np.sqrt(variance + by_wind**2 * felt_variance)),
    )


def own_habits(
    toe_m: npt.ArrayLike, *, like: Athlete, wind_mps: npt.ArrayLike | None = None
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

    Returns
    -------
    Athlete or NotEnoughAttempts
        `MIN_OWN_ATTEMPTS` complete attempts are needed. It aims where the attempts landed on
        average, without session effect or perception: both are in the spread that was measured, and
        in the gains. Its wind is that of the attempts less its mean: 0 is the usual one.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values.

    Notes
    -----
    Of each step the gain is the slope of made on needed (`needed_made`), its unsteadiness the SD of
    what is left on n - 2 degrees of freedom: then the SD at the board comes out as measured, but
    for the degrees of freedom. What wind adds to a step (`wind.usual_wind_slope`, of a usual
    athlete) is taken out of what was made, and stays in what was needed. Attempts with a gap are
    left out whole, and so are no jumps that nobody measured: where there are many, the risk is
    understated.

    Examples
    --------
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
    is_complete: BoolArray = np.asarray(~np.isnan(toe).any(axis=1))
    complete = toe[is_complete]
    n = complete.shape[0]
    if n < MIN_OWN_ATTEMPTS:
        return NotEnoughAttempts(n=n, needed=MIN_OWN_ATTEMPTS)
    usual = complete.mean(axis=0)
    off = complete - usual
    needed, made = off[:, 1:], np.diff(off, axis=1)
    blown = _off_usual_wind(wind_mps, is_complete)
    slope = wind.usual_wind_slope(np.maximum(usual[-1] - usual, 0.0))
    felt = wind.felt_wind(blown)
    made = made - np.outer(felt - felt.mean(), np.diff(slope))
    squares = np.sum(needed**2, axis=0)
    spread = squares > n * conventions.NO_SPREAD_M**2
    gains = np.zeros(like.n_steps)
    gains[spread] = np.sum(needed * made, axis=0)[spread] / squares[spread]
    left = np.sqrt(np.sum((made - gains * needed) ** 2, axis=0) / (n - 2))
    return replace(
        like,
        aim_m=float(complete[:, 0].mean()),
        mark_error_m=0.0,
        start_sd_m=float(np.sqrt(squares[-1] / (n - 1))),
        session_sd_m=0.0,
        persistence=0.0,
        step_sds_m=_plain(left),
        gains=_plain(gains),
        perception_sd_m=0.0,
        perception_sd_share=0.0,
        wind_sd_mps=float(blown.std(ddof=1)),
        mean_wind_mps=0.0,
        fatigue=0.0,
        fatigue_spread=0.0,
        growth=0.0,
        speed_cv=0.0,
    )


def _off_usual_wind(wind_mps: npt.ArrayLike | None, is_complete: BoolArray) -> FloatArray:
    """Return by how much the wind of each complete attempt was off their mean, 0 if unknown."""
    if wind_mps is None:
        return np.zeros(np.count_nonzero(is_complete))
    read = np.asarray(wind_mps, dtype=np.float64)
    if read.shape != is_complete.shape:
        raise ValueError(f"{is_complete.size} attempts have as many winds: {read.shape}")
    conventions.check_not_infinite(read, name="wind_mps")
    read = read[is_complete]
    known = ~np.isnan(read)
    mean = float(read[known].mean()) if known.any() else 0.0
    return np.where(known, read - mean, 0.0)


def _outcome(before: FloatArray, after: FloatArray) -> Outcome:
    difference = after - before
    error = float(difference.std(ddof=1) / np.sqrt(difference.size))
    change = float(difference.mean())
    return Outcome(
        before=float(before.mean()),
        after=float(after.mean()),
        change=change,
        monte_carlo_error=error,
        interval=conventions.t_interval(
            estimate=change, standard_error=error, df=difference.size - 1, level=DEFAULT_LEVEL
        ),
    )


def _plain(values: Sequence[float] | FloatArray) -> tuple[float, ...]:
    return tuple(float(value) for value in values)
