"""Simulated athletes with one known trouble each: what a diagnosis should find."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analytics.core import simulator
from analytics.core.diagnosis import Plan
from analytics.core.simulator import Athlete, SimulatedAttempts
from analytics.core.spread import PhaseStarts

# Every toe is measured: what a missing one hides is the subject of tests of its own.
HEALTHY = Athlete(unmeasured_no_jump_share=0.0)

TROUBLES: dict[str, Athlete] = {
    "none": HEALTHY,
    "wrong mark": replace(HEALTHY, mark_error_m=0.25),
    "unsteady part": replace(
        HEALTHY, unsteady_steps=(16, 11), unsteady_sd_m=0.15, steering_gain=0.2
    ),
    "late steering": replace(HEALTHY, steering_from=2, steering_gain=0.4, step_sd_m=0.08),
    "fatigue": replace(HEALTHY, fatigue=0.006),
    "wind ignored": replace(HEALTHY, wind_sd_mps=2.5),
    "growth": replace(HEALTHY, growth=0.006),
}

PLAN = Plan(
    toe_m=simulator.plan_run_up(TROUBLES["none"]).toe_m,
    phase_starts=PhaseStarts(transition=10, attack=6),
)


def attempts_with(
    trouble: str, attempts_by_session: Sequence[int], *, seed: int
) -> SimulatedAttempts:
    """Return attempts of the athlete who has the trouble."""
    return simulator.simulate(
        TROUBLES[trouble],
        attempts_by_session=attempts_by_session,
        rng=np.random.default_rng(seed),
    )
