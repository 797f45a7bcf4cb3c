"""Top speed and rise time from the splits of one sprint."""

from collections.abc import Callable

import numpy as np

from analytics.core import profile_speeds, sprint_curve, sprint_profile
from analytics.core.sprint_profile import Correction
from tests.core.coverage.studies import Covered, Figure, Study

TOP_MPS, RISE_S, CLOCK_SD_S = 9.0, 1.1, 0.01
FLYING_M, SHIFT_S = 0.5, 0.3


def sprint(gates: tuple[float, ...], correction: Correction) -> Callable[..., Covered | None]:
    started_m = FLYING_M if correction is Correction.FLYING_DISTANCE else 0.0
    run = np.array([started_m, *(gate + started_m for gate in gates)])
    passed = sprint_curve.time_to(run, top_speed_mps=TOP_MPS, rise_time_s=RISE_S)
    true = passed[1:] - passed[0] - (SHIFT_S if correction is Correction.TIME_SHIFT else 0.0)
    speed = float(sprint_curve.speed_after(30.0, top_speed_mps=TOP_MPS, rise_time_s=RISE_S))

    def once(rng: np.random.Generator) -> Covered | None:
        time = true + rng.normal(0, CLOCK_SD_S, size=true.size)
        found = sprint_profile.fit_profile(gates, time, correction=correction)
        if isinstance(found, sprint_profile.NoProfile):
            return None
        along = profile_speeds.speed_along(found, [30.0])
        return [
            found.top_speed_interval.low < TOP_MPS < found.top_speed_interval.high,
            found.rise_time_interval.low < RISE_S < found.rise_time_interval.high,
            bool(along.low_mps[0] < speed < along.high_mps[0]),
        ]

    return once


def figures(low: float, high: float) -> tuple[Figure, ...]:
    return tuple(
        Figure(name, "t from the Jacobian", low, high)
        for name in ("top speed", "rise time", "speed after 30 m")
    )


STUDIES = (
    Study(
        "sprint_profile",
        "4 splits, timing error 0.01 s",
        figures(0.93, 0.97),
        sprint((5.0, 10.0, 20.0, 30.0), Correction.NONE),
    ),
    Study(
        "sprint_profile",
        "6 splits, the clock 0.3 s late, time shift fitted",
        figures(0.93, 0.97),
        sprint((5.0, 10.0, 15.0, 20.0, 30.0, 40.0), Correction.TIME_SHIFT),
    ),
    Study(
        "sprint_profile",
        "6 splits, the clock started by a gate after 0.5 m, flying distance fitted",
        figures(0.93, 0.97),
        sprint((5.0, 10.0, 15.0, 20.0, 30.0, 40.0), Correction.FLYING_DISTANCE),
    ),
)
