"""What speed is worth, averaged over what is believed of it."""

from collections.abc import Callable

import numpy as np

from analytics.core import speed_to_distance
from analytics.core.speed_to_distance import ATTEMPT_CV, Event
from tests.core.coverage.studies import Covered, Figure, Study

DISTANCE_M, CLOCK_SD_MPS = 6.5, 0.08


def jump(sessions: int, *, as_believed: bool) -> Callable[[np.random.Generator], Covered]:
    session = np.repeat(np.arange(sessions), 6)

    def once(rng: np.random.Generator) -> Covered:
        slope, true_sd, own_sd = 0.8, 0.12, 0.12
        if as_believed:
            slope = float(rng.normal(0.8, 0.3))
            true_sd = abs(rng.normal(0, speed_to_distance.SPEED_SPREAD_MPS))
            own_sd = ATTEMPT_CV[Event.LONG_JUMP] * DISTANCE_M * np.sqrt(4 / rng.chisquare(4))
        speed = 9.3 + rng.normal(0, true_sd, session.size)
        distance = DISTANCE_M + slope * (speed - 9.3) + rng.normal(0, own_sd, session.size)
        found = speed_to_distance.speed_to_distance(
            distance + rng.normal(0, 0.15, sessions)[session],
            speed + rng.normal(0, CLOCK_SD_MPS, session.size),
            session=session,
            speed_sd_mps=CLOCK_SD_MPS,
            usual_distance_m=DISTANCE_M,
        )
        return [found.slope_interval.low < slope < found.slope_interval.high]

    return once


STUDIES = (
    *(
        Study(
            "speed_to_distance",
            f"{text} of 6 attempts, timing error 0.08 m/s, all drawn from what is believed",
            (Figure("slope", "Bayesian, averaged over its belief", 0.935, 0.965),),
            jump(sessions, as_believed=True),
        )
        for text, sessions in (("1 session", 1), ("8 sessions", 8))
    ),
    Study(
        "speed_to_distance",
        "8 sessions of 6 attempts, an athlete with the usual slope, true speeds spread by 0.12 m/s",
        (Figure("slope", "Bayesian, not averaged", 0.96, 1.0),),
        jump(8, as_believed=False),
    ),
)
