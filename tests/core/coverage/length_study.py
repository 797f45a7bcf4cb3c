"""What a pair of steps more brings, and the best number of steps."""

from collections.abc import Callable

import numpy as np

from analytics.core import growth, length_study
from analytics.core.growth import DAYS_OF_YEAR, DEFAULT_SETTINGS, Growth
from analytics.core.length_study import LengthStudy, Peak
from tests.core.coverage.studies import Covered, Figure, Study, exact

STEPS = np.array([8, 10, 12, 14, 16])
CURVATURE = -0.02


def study(
    peak: float, sd: float, *, times: int, shown: bool
) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        # Two sessions, each with every length.
        steps = np.tile(STEPS, 2 * times)
        session = np.repeat([0, 1], STEPS.size * times)
        level = 6.0 + rng.normal(0, 0.3, 2)[session]
        values = level + CURVATURE * (steps - peak) ** 2 + rng.normal(0, sd, steps.size)
        found = length_study.study_length(steps, values, session=session)
        assert isinstance(found, LengthStudy)
        if shown:
            if found.peak is not Peak.SHOWN or found.peak_interval is None:
                return None
            return [found.peak_interval.low < peak < found.peak_interval.high]
        gain = CURVATURE * ((18 - peak) ** 2 - (16 - peak) ** 2)
        return [
            found.gain_interval.low < gain < found.gain_interval.high,
            found.curvature_interval.low < CURVATURE < found.curvature_interval.high,
        ]

    return once


def heights(rng: np.random.Generator) -> Covered | None:
    sd = DEFAULT_SETTINGS.measure_sd_m
    days, grown = np.array([0.0, 3.0, 120.0]), 0.05 / DAYS_OF_YEAR
    found = growth.follow_growth(days, 1.5 + grown * days + rng.normal(0, sd, 3), today=120.0)
    assert isinstance(found, Growth)
    assert found.velocity_interval is not None
    return [found.velocity_interval.low < 0.05 < found.velocity_interval.high]


STUDIES = (
    Study(
        "length_study",
        "2 sessions, in each 8 to 16 steps twice, a day's level unknown",
        (exact("gain of the next pair", "t"), exact("curvature", "t")),
        study(17.0, 0.1, times=2, shown=False),
    ),
    *(
        Study(
            "length_study",
            f"the same, best at {peak:g} steps, an attempt's SD {sd:g} m, where one is shown",
            (Figure("best number of steps", "Fieller", low, high),),
            study(peak, sd, times=2, shown=True),
        )
        for peak, sd, low, high in ((12.0, 0.1, 0.935, 0.965), (15.0, 0.2, 0.935, 0.985))
    ),
    Study(
        "growth",
        "a height measured twice, once more after four months",
        (exact("velocity", "normal, SD known"),),
        heights,
    ),
)
