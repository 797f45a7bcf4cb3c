"""Means of the last three steps."""

import numpy as np

from analytics.core import last_steps
from tests.core.coverage.studies import Covered, Study, exact

N, RATIO, LONGER_PERCENT, CONTACT_S = 6, 1.04, 8.0, 0.125


def once(rng: np.random.Generator) -> Covered | None:
    # The ratios are made normal, not the lengths: of ratios the interval is the t interval.
    third = rng.normal(2.20, 0.06, size=N)
    penultimate = third * rng.normal(RATIO, 0.03, size=N)
    last = penultimate / (1 + rng.normal(LONGER_PERCENT, 3.0, size=N) / 100)
    toe = np.column_stack(
        [
            np.full(N, 0.06),
            0.06 + last,
            0.06 + last + penultimate,
            0.06 + last + penultimate + third,
        ]
    )
    down = np.tile([0.66, 0.44, 0.22, 0.0], (N, 1))
    off = down + 0.11
    off[:, 0] = down[:, 0] + rng.normal(CONTACT_S, 0.008, size=N)
    found = last_steps.last_steps(toe, touchdown_s=down, toe_off_s=off)
    assert isinstance(found, last_steps.LastSteps)
    pairs = (
        (found.length_ratio_2, RATIO),
        (found.penultimate_longer_percent, LONGER_PERCENT),
        (found.contact_s[2], CONTACT_S),
    )
    covered = []
    for mean, truth in pairs:
        assert isinstance(mean, last_steps.MeanOf)
        covered.append(mean.interval.low < truth < mean.interval.high)
    return covered


STUDIES = (
    Study(
        "last_steps",
        "6 attempts, penultimate step 1.04 of the third-last and 8 % longer than the last",
        (
            exact("length ratio of the penultimate step", "t"),
            exact("penultimate longer", "t"),
            exact("contact of the take-off foot", "t"),
        ),
        once,
    ),
)
