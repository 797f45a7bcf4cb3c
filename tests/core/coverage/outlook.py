"""What is said of the next attempt, and of the athlete's own no-jump risk."""

from collections.abc import Callable

import numpy as np
from scipy import special

from analytics.core import next_attempts, outlook
from analytics.core.next_attempts import NextAttempts
from tests.core.coverage.studies import Covered, Figure, Study, exact

MEAN_M, SD_M = 0.06, 0.08


def ahead_of(
    toe: np.ndarray, next_toe: float, risk: float, *, session: np.ndarray | None = None
) -> Covered | None:
    expected = next_attempts.expect_toe(toe, np.isnan(toe) | (toe < 0), session=session)
    if not isinstance(expected, NextAttempts):
        return None
    ahead = outlook.outlook(expected)
    own = ahead.probability_no_jump_interval
    return [
        ahead.toe_interval.low < next_toe < ahead.toe_interval.high,
        own.low < risk < own.high,
    ]


def plain(rng: np.random.Generator) -> Covered | None:
    risk = float(special.ndtr(-MEAN_M / SD_M))
    return ahead_of(rng.normal(MEAN_M, SD_M, size=8), float(rng.normal(MEAN_M, SD_M)), risk)


def hidden(rng: np.random.Generator) -> Covered | None:
    toe = rng.normal(MEAN_M, SD_M, size=12)
    toe[toe < 0] = np.nan
    risk = float(special.ndtr(-MEAN_M / SD_M))
    return ahead_of(toe, float(rng.normal(MEAN_M, SD_M)), risk)


def new_session(ratio: float, *, told: bool) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        session = np.repeat(np.arange(5), 5)
        day = rng.normal(0, ratio * SD_M, size=6)
        toe = MEAN_M + day[session] + rng.normal(0, SD_M, size=25)
        next_mean = MEAN_M + day[5]
        return ahead_of(
            toe,
            float(rng.normal(next_mean, SD_M)),
            float(special.ndtr(-next_mean / SD_M)),
            session=session if told else None,
        )

    return once


STUDIES = (
    Study(
        "outlook",
        "8 attempts, mean 0.06 m, SD 0.08 m",
        (exact("next toe", "Student's t"), exact("own no-jump risk", "noncentral t")),
        plain,
    ),
    Study(
        "outlook",
        "12 attempts, mean 0.06 m, SD 0.08 m, no toe measured beyond the line",
        (
            Figure("next toe", "integrated", 0.93, 0.98),
            Figure("own no-jump risk", "integrated", 0.93, 0.98),
        ),
        hidden,
    ),
    Study(
        "outlook",
        "5 sessions of 5 attempts whose means differ by 0.7 of the spread within, sessions ignored",
        (
            Figure("next toe", "t, not meant for this", 0.90, 0.96),
            Figure("own no-jump risk", "noncentral t, not meant for this", 0.2, 0.6),
        ),
        new_session(0.7, told=False),
    ),
    *(
        Study(
            "outlook",
            f"a new session after 5 of 5 attempts whose means differ by {ratio:g} of the spread"
            " within",
            (
                Figure("next toe", "integrated", next_low, 0.98),
                Figure("own no-jump risk", "integrated", low, high),
            ),
            new_session(ratio, told=True),
        )
        for ratio, next_low, low, high in (
            (0.0, 0.93, 0.98, 1.0),
            (0.7, 0.91, 0.89, 0.95),
            (1.5, 0.89, 0.82, 0.89),
        )
    ),
)
