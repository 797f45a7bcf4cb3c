"""What would another habit change? Simulated twice with the same luck."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analytics.core import conventions, simulator, wind
from analytics.core.conventions import (
    DEFAULT_LEVEL,
    FloatArray,
    Interval,
)
from analytics.core.simulator import Athlete

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
