"""The gain of a step that steers."""

from collections.abc import Callable

import numpy as np

from analytics.core import needed_made
from tests.core.coverage.studies import Covered, Figure, Study, exact

AIM_M, FROM_M, GAIN, START_SD_M, OWN_SD_M = 0.06, 2.10, 0.5, 0.10, 0.04


def steer(n: int, reading_sd_m: float) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        start = rng.normal(0, START_SD_M, size=n)
        end = (1 - GAIN) * start + rng.normal(0, OWN_SD_M, size=n)
        toe = np.column_stack([AIM_M + end, FROM_M + start])
        found = needed_made.needed_and_made(
            toe + rng.normal(0, reading_sd_m, size=toe.shape), measurement_sd_m=reading_sd_m
        )
        assert isinstance(found, needed_made.NeededMade)
        if np.isnan(found.gain[0]):
            return None
        return [bool(found.gain_low[0] < GAIN < found.gain_high[0])]

    return once


STUDIES = (
    Study(
        "needed_made",
        "10 attempts, gain 0.5, no reading error",
        (exact("gain", "t"),),
        steer(10, 0.0),
    ),
    *(
        Study(
            "needed_made",
            f"{n} attempts, gain 0.5, reading error 0.03 m beside a spread of 0.10 m",
            (Figure("gain", "t, stretched", 0.93, 0.975),),
            steer(n, 0.03),
        )
        for n in (10, 40)
    ),
)
