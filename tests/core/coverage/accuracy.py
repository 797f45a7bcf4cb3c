"""Bias and spread at the board."""

import numpy as np

from analytics.core import accuracy
from tests.core.coverage.studies import Figure, Study, exact

BIAS_M, SD_M, AIM_M = 0.04, 0.08, 0.06


def plain(rng: np.random.Generator) -> list[bool]:
    toe = rng.normal(AIM_M + BIAS_M, SD_M, size=8)
    result = accuracy.accuracy(toe, toe < 0, aim_m=AIM_M)
    assert isinstance(result, accuracy.Accuracy)
    return [
        result.bias_interval.low < BIAS_M < result.bias_interval.high,
        result.sd_interval.low < SD_M < result.sd_interval.high,
    ]


def over_sessions(rng: np.random.Generator) -> list[bool]:
    session = np.repeat(np.arange(8), 6)
    day = rng.normal(0, SD_M / 2, size=8)[session]
    toe = AIM_M + BIAS_M + day + rng.normal(0, SD_M, size=48)
    result = accuracy.accuracy(toe, toe < 0, aim_m=AIM_M, session=session)
    assert isinstance(result, accuracy.Accuracy)
    interval = result.bias_interval_over_sessions
    assert interval is not None
    return [
        result.bias_interval.low < BIAS_M < result.bias_interval.high,
        interval.low < BIAS_M < interval.high,
    ]


STUDIES = (
    Study(
        "accuracy",
        "8 attempts, bias 0.04 m, SD 0.08 m",
        (exact("bias", "t"), exact("SD", "chi-square")),
        plain,
    ),
    Study(
        "accuracy",
        "8 sessions of 6 attempts whose means differ by half of the spread within",
        (
            Figure("bias, sessions ignored", "t, not meant for this", 0.78, 0.90),
            Figure("bias over sessions", "t, Satterthwaite", 0.93, 0.97),
        ),
        over_sessions,
    ),
)
