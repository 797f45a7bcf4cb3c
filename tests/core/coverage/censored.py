"""The fit that counts unmeasured no jumps."""

from collections.abc import Callable

import numpy as np
from scipy import stats

from analytics.core import censored
from analytics.core.conventions import NotEnoughAttempts
from tests.core.coverage.studies import Covered, Figure, Study

SD_M = 0.08


def fit(n: int, mean_m: float) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        toe = rng.normal(mean_m, SD_M, size=n)
        result = censored.fit_censored(np.where(toe < 0, np.nan, toe), toe < 0)
        if isinstance(result, NotEnoughAttempts):
            return None
        risk = float(stats.norm.cdf(-mean_m / SD_M))
        pairs = (
            (result.mean_interval, mean_m),
            (result.sd_interval, SD_M),
            (result.probability_no_jump_interval, risk),
        )
        return [interval.low < truth < interval.high for interval, truth in pairs]

    return once


STUDIES = tuple(
    Study(
        "censored",
        f"{n} attempts, mean {mean_m:.2f} m, SD 0.08 m, no toe measured beyond the line",
        (
            Figure("mean", "t on equivalent df", 0.935, 0.985),
            Figure("SD", "chi-square on equivalent df", 0.925, 0.965),
            Figure("P(no jump)", "normal on mean / SD", 0.935, 0.975),
        ),
        fit(n, mean_m),
    )
    for n, mean_m in ((10, 0.06), (20, 0.06), (20, 0.0))
)
