"""The Monte Carlo error of a change of habits, against the closed form."""

from dataclasses import replace

import numpy as np
from scipy import stats

from analytics.core import what_if
from analytics.core.simulator import Athlete
from tests.core.coverage.studies import Covered, Figure, Study

# Without wind the toe is normal, and the share of no jumps is known exactly.
BEFORE = Athlete(wind_sd_mps=0.0)
AFTER = what_if.steadier(
    replace(BEFORE, perception_sd_m=0.02), first_step=5, last_step=1, factor=0.7
)


def once(rng: np.random.Generator) -> Covered | None:
    found = what_if.what_if(BEFORE, AFTER, rng=rng, n_sessions=100).no_jump_share
    before, after = (
        stats.norm.cdf(0, *what_if.expected_board(athlete)) for athlete in (BEFORE, AFTER)
    )
    return [bool(found.interval.low < after - before < found.interval.high)]


STUDIES = (
    Study(
        "what_if",
        "100 sessions of 6 attempts, the last five steps steadier and better seen",
        (Figure("change of the no-jump share", "t, over sessions", 0.93, 0.97),),
        once,
    ),
)
