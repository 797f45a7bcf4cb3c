"""Histories of a run-up that may get more steps, as the tests of its advice need them."""

import numpy as np

from analytics.core import length_advice
from analytics.core.length_advice import LengthAdvice
from analytics.core.length_conditions import Condition, Finding
from analytics.core.length_history import LengthHistory

FIVE = np.array([-1.1, 0.3, 1.2, -0.7, 0.3])
FIVE = FIVE / FIVE.std(ddof=1)


def history(sds, *, mean_m: float = 0.10, **options) -> LengthHistory:
    """Return sessions of five whose toes have these SDs about the same mean."""
    toe = np.concatenate([mean_m + sd * FIVE for sd in sds])
    return LengthHistory(toe, toe < 0, np.repeat(np.arange(len(sds)), 5), **options)


def advised(known: LengthHistory, *, ready_sd_m: float = 0.10, **options) -> LengthAdvice:
    found = length_advice.advise_length(known, ready_sd_m=ready_sd_m, **{"aim_m": 0.10, **options})
    assert isinstance(found, LengthAdvice)
    return found


def finding_of(advice: LengthAdvice, condition: Condition) -> Finding:
    return next(each for each in advice.latest.findings if each.condition is condition)
