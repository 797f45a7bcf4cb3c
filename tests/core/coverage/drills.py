"""Where a drill ends against the same footfall of the full run."""

from collections.abc import Callable

import numpy as np

from analytics.core import drills
from tests.core.coverage.studies import Covered, Figure, Study

DIFFERENCE_M, DRILL_SD_M, FULL_SD_M, DAY_SD_M = 0.04, 0.15, 0.10, 0.20


def compared(sizes: tuple[tuple[int, int], ...]) -> Callable[[np.random.Generator], Covered | None]:
    """Return a study of sessions with so many drills and full runs each."""
    drill_at, full_at = (
        np.repeat(np.arange(len(sizes)), [size[kind] for size in sizes]) for kind in (0, 1)
    )

    def once(rng: np.random.Generator) -> Covered | None:
        day = rng.normal(20, DAY_SD_M, size=len(sizes))
        drill = day[drill_at] + DIFFERENCE_M + rng.normal(0, DRILL_SD_M, size=drill_at.size)
        full = day[full_at] + rng.normal(0, FULL_SD_M, size=full_at.size)
        found = drills.compare_drill(drill, full, drill_session=drill_at, full_session=full_at)
        assert isinstance(found, drills.DrillFigures)
        ratio = found.sd_ratio_interval
        assert ratio is not None
        return [
            found.interval.low < DIFFERENCE_M < found.interval.high,
            ratio.low < DRILL_SD_M / FULL_SD_M < ratio.high,
        ]

    return once


STUDIES = tuple(
    Study(
        "drills",
        setting,
        (
            Figure("difference to the full run", "t, Satterthwaite", low, 0.975),
            # Exact; 0.95 within three standard errors of 1,000 runs.
            Figure("ratio of SDs", "F", 0.929, 0.971),
        ),
        compared(sizes),
    )
    for setting, sizes, low in (
        ("5 drills and 8 full runs in one session", ((5, 8),), 0.93),
        (
            "4 sessions of 2 to 6 drills and 2 to 6 full runs",
            ((2, 6), (4, 3), (6, 2), (3, 3)),
            0.93,
        ),
    )
)
