"""Simulated athletes whose start mark is off by a known distance, and what they are advised."""

from dataclasses import replace

import numpy as np

from analytics.core import mark_advice, needed_made, simulator
from analytics.core.mark_advice import Errors, History, MarkAdvice
from analytics.core.simulator import SimulatedAttempts
from analytics.core.wind import felt_wind, usual_wind_slope
from tests.core.troubles import HEALTHY

ATHLETES = {
    "steers": HEALTHY,
    "does not steer": replace(HEALTHY, steering_from=0, step_sd_m=0.02),
}
SESSIONS = {6: [6], 12: [6, 6], 20: [5] * 4, 40: [5] * 8}
CHECK_FOOTFALL = 6


def attempts_of(athlete: str, mark_error_m: float, *, n: int, seed: int) -> SimulatedAttempts:
    """Return n attempts with a start mark that stands too far from the pit by `mark_error_m`."""
    return simulator.simulate(
        replace(ATHLETES[athlete], mark_error_m=mark_error_m),
        attempts_by_session=SESSIONS[n],
        rng=np.random.default_rng(seed),
    )


def advise(made: SimulatedAttempts, athlete: str, *, with_check: bool = True) -> MarkAdvice:
    """Return what is advised, the wind taken out at the check mark as in a usual athlete."""
    plan = simulator.plan_run_up(ATHLETES[athlete])
    steering = needed_made.needed_and_made(made.toe_m[:, :CHECK_FOOTFALL])
    pass_through = 1.0
    if isinstance(steering, needed_made.NeededMade) and not np.isnan(steering.gain).any():
        pass_through = float(np.clip(needed_made.pass_through(steering.gain), 0, 1))
    run = plan.start_mark_m - plan.toe_m
    by_wind = usual_wind_slope(run) * felt_wind(made.wind_mps)[:, None]
    error = made.toe_m - plan.toe_m - by_wind * np.where(np.arange(run.size) == 0, pass_through, 1)
    found = mark_advice.advise_mark(
        Errors(error[:, 0], np.where(made.no_jump, -plan.toe_m[0], np.nan)),
        History(np.full(made.session.size, plan.start_mark_m), made.session),
        check=Errors(error[:, CHECK_FOOTFALL]) if with_check else None,
    )
    assert isinstance(found, MarkAdvice)
    return found


def advised(athlete: str, mark_error_m: float, *, n: int, seed: int) -> MarkAdvice:
    """Return what an athlete with a known error of the mark is advised after n attempts."""
    return advise(attempts_of(athlete, mark_error_m, n=n, seed=seed), athlete)
