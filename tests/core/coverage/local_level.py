"""The level that is followed. It is drawn from what is believed before any attempt is seen."""

from collections.abc import Callable

import numpy as np
from scipy import stats

from analytics.core import local_level
from analytics.core.local_level import LevelSds
from tests.core.coverage.studies import Covered, Figure, Study, exact

SDS = LevelSds(error_m=0.10, attempt_m=0.005, session_m=0.03, first_m=0.06)
AIM_M = 0.06


def follow(*, hide: bool) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        session = np.repeat([0, 1], 6)
        moves = rng.normal(0, np.where(np.arange(12) == 6, SDS.session_m, SDS.attempt_m))
        moves[0] = rng.normal(0, SDS.first_m)
        level = np.cumsum(moves)
        error = rng.normal(level, SDS.error_m)
        beyond = error < -AIM_M
        found = local_level.follow_level(
            np.where(beyond & hide, np.nan, error),
            sds=SDS,
            session=session,
            below_m=np.where(beyond & hide, -AIM_M, np.nan),
        )
        half = float(stats.norm.ppf(0.975)) * found.sd_m[-1]
        return [bool(abs(found.mean_m[-1] - level[-1]) < half)]

    return once


STUDIES = (
    Study(
        "local_level",
        "2 sessions of 6 attempts, SDs known, the level drawn from what is believed",
        (exact("present level", "normal"),),
        follow(hide=False),
    ),
    Study(
        "local_level",
        "the same, no toe measured beyond the line",
        (Figure("present level", "normal, each hidden toe approximated", 0.925, 0.965),),
        follow(hide=True),
    ),
)
