"""The mean over sessions of unequal size, which `accuracy` gives as the bias over sessions."""

from collections.abc import Callable

import numpy as np

from analytics.core import components
from tests.core.coverage.studies import Covered, Figure, Study

MEAN_M, SD_M, SIZES = 0.04, 0.08, np.array([3, 4, 5, 6, 8])


def over_sessions(ratio: float) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        session = np.repeat(np.arange(SIZES.size), SIZES)
        day = rng.normal(0, ratio * SD_M, size=SIZES.size)[session]
        error = MEAN_M + day + rng.normal(0, SD_M, size=session.size)
        parts = components.spread_components(error, session)
        assert isinstance(parts, components.SpreadComponents)
        interval = components.mean_interval(float(error.mean()), parts, level=0.95)
        return [interval.low < MEAN_M < interval.high]

    return once


STUDIES = tuple(
    Study(
        "accuracy",
        f"5 sessions of 3 to 8 attempts whose means differ by {ratio:g} of the spread within",
        (Figure("bias over sessions", "t, Satterthwaite", low, high),),
        over_sessions(ratio),
    )
    for ratio, low, high in ((0.0, 0.945, 0.985), (0.5, 0.93, 0.975), (1.5, 0.94, 0.98))
)
