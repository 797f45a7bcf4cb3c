"""Date and size of one lasting shift, in the seasons where it is shown."""

from collections.abc import Callable

import numpy as np

from analytics.core import breaks
from tests.core.coverage.studies import Covered, Figure, Study

SD_M = 0.04


def shifted(n: int, size_sd: float) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        place = int(rng.integers(breaks.MIN_ON_EACH_SIDE, n - breaks.MIN_ON_EACH_SIDE + 1))
        points = rng.normal(0, SD_M, size=n)
        points[place:] += size_sd * SD_M
        found = breaks.find_break(points, rng=rng, n_permutations=199)
        assert isinstance(found, breaks.BreakSearch)
        if found.shift is None:
            return None
        interval = found.shift.interval_m
        return [
            interval.low < size_sd * SD_M < interval.high,
            found.shift.earliest <= place <= found.shift.latest,
        ]

    return once


STUDIES = tuple(
    Study(
        "breaks",
        f"{n} sessions, a shift of {size_sd:g} SDs that is shown",
        (
            Figure("change", "mixture of t", *change),
            Figure("dates", "smallest set", *dates),
        ),
        shifted(n, size_sd),
    )
    for n, size_sd, change, dates in (
        (12, 1.0, (0.80, 0.95), (0.84, 0.97)),
        (12, 2.0, (0.92, 0.98), (0.94, 1.0)),
        (30, 1.0, (0.92, 0.98), (0.92, 0.98)),
        (30, 2.0, (0.93, 0.98), (0.94, 0.99)),
    )
)
