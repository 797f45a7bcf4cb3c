"""The slope over sessions."""

from collections.abc import Callable

import numpy as np

from analytics.core import trends
from tests.core.coverage.studies import Covered, Figure, Study

SLOPE_PER_WEEK, SD_M = 0.005, 0.05

Errors = Callable[[np.random.Generator, int], np.ndarray]


def normal(rng: np.random.Generator, n: int) -> np.ndarray:
    return rng.normal(size=n)


def long_tailed(rng: np.random.Generator, n: int) -> np.ndarray:
    return rng.standard_t(3, size=n)


def hanging_together(rng: np.random.Generator, n: int) -> np.ndarray:
    made = rng.normal(size=n)
    for place in range(1, n):
        made[place] = 0.3 * made[place - 1] + np.sqrt(1 - 0.3**2) * made[place]
    return made


def sloping(n: int, errors: Errors) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        day = np.cumsum(rng.integers(1, 8, size=n))
        points = SLOPE_PER_WEEK / 7 * day + SD_M * errors(rng, n)
        found = trends.find_trend(points, day)
        assert isinstance(found, trends.Trend)
        interval = found.interval_per_week
        return [interval.low < SLOPE_PER_WEEK < interval.high]

    return once


STUDIES = tuple(
    Study(
        "trends",
        setting,
        (Figure("slope", kind, low, high),),
        sloping(n, errors),
    )
    for setting, kind, n, errors, low, high in (
        ("6 sessions", "ranks of Kendall's S", 6, normal, 0.95, 1.0),
        ("12 sessions", "ranks of Kendall's S", 12, normal, 0.935, 0.97),
        ("30 sessions", "ranks of Kendall's S", 30, normal, 0.935, 0.97),
        (
            "12 sessions, long tails (t with 3 df)",
            "ranks of Kendall's S",
            12,
            long_tailed,
            0.935,
            0.97,
        ),
        (
            "30 sessions, each keeps 0.3 of the last",
            "ranks of Kendall's S, not meant for this",
            30,
            hanging_together,
            0.78,
            0.90,
        ),
    )
)
