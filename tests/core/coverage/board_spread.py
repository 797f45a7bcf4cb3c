"""How much the attempts of a new session spread at the board."""

from collections.abc import Callable

import numpy as np

from analytics.core import board_spread, next_attempts
from analytics.core.next_attempts import NextAttempts
from tests.core.coverage.studies import Covered, Figure, Study

OWN_SD_M = 0.08


def sessions(ratio: float, count: int) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        session = np.repeat(np.arange(count), 5)
        day = rng.normal(0, ratio * OWN_SD_M, count)
        toe = 1.0 + day[session] + rng.normal(0, OWN_SD_M, session.size)
        expected = next_attempts.expect_toe(toe, toe < 0, session=session)
        assert isinstance(expected, NextAttempts)
        found = board_spread.sd_interval(expected)
        return [found.low < OWN_SD_M * float(np.hypot(1, ratio)) < found.high]

    return once


STUDIES = tuple(
    Study(
        "length_advice",
        f"{count} sessions of 5 attempts whose means differ by {ratio:g} of the spread within",
        (Figure("SD of a new session's attempts", "integrated", low, high),),
        sessions(ratio, count),
    )
    for ratio, count, low, high in (
        (0.0, 3, 0.93, 0.98),
        (0.7, 3, 0.93, 0.98),
        (1.5, 3, 0.82, 0.90),
        (0.7, 8, 0.93, 0.98),
        (1.5, 8, 0.87, 0.94),
    )
)
