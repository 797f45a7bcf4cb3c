"""Means and SDs of a squad's athletes, drawn toward the squad; the truth is drawn from one, too."""

from collections.abc import Callable

import numpy as np

from analytics.core import shrinkage
from tests.core.coverage.studies import Covered, Figure, Study

SD_M = 0.08
ATTEMPTS = np.array([4, 4, 6, 10, 20, 40])


def means(k: int, between_m: float) -> Callable[[np.random.Generator], Covered | None]:
    """Each athlete's SD is estimated and drawn first, as the page tells."""
    n = np.resize(ATTEMPTS, k)

    def once(rng: np.random.Generator) -> Covered | None:
        truth = rng.normal(0.03, between_m, size=k)
        mean = rng.normal(truth, SD_M / np.sqrt(n))
        sd = SD_M * np.sqrt(rng.chisquare(n - 1) / (n - 1))
        sds = shrinkage.shrink_sds(sd, n - 1)
        assert isinstance(sds, shrinkage.Shrunken)
        found = shrinkage.shrink_means(mean, sds.estimate / np.sqrt(n))
        return both_ends(found, truth)

    return once


def sds(k: int, spread: float) -> Callable[[np.random.Generator], Covered | None]:
    df = np.resize(ATTEMPTS, k) - 1

    def once(rng: np.random.Generator) -> Covered | None:
        truth = SD_M * np.exp(rng.normal(0, spread, size=k))
        return both_ends(shrinkage.shrink_sds(truth * np.sqrt(rng.chisquare(df) / df), df), truth)

    return once


def both_ends(found: object, truth: np.ndarray) -> Covered:
    """Return whether the athletes with the fewest and with the most attempts are covered."""
    assert isinstance(found, shrinkage.Shrunken)
    covered = (found.low < truth) & (truth < found.high)
    return [bool(covered[0]), bool(covered[5])]


STUDIES = (
    *(
        Study(
            "shrinkage",
            f"biases of {k} athletes whose truths differ by {between_m:g} m",
            (
                Figure("bias from 4 attempts", "Morris, normal", 0.92, 1.0),
                Figure("bias from 40 attempts", "Morris, normal", 0.90, 0.99),
            ),
            means(k, between_m),
        )
        for k, between_m in ((6, 0.02), (12, 0.02), (12, 0.05))
    ),
    *(
        Study(
            "shrinkage",
            f"SDs of {k} athletes whose truths differ by {100 * spread:g} %",
            (
                Figure("SD from 4 attempts", "Morris, normal on the log", 0.93, 1.0),
                Figure("SD from 40 attempts", "Morris, normal on the log", 0.88, 0.99),
            ),
            sds(k, spread),
        )
        for k, spread in ((6, 0.2), (12, 0.2), (12, 0.4))
    ),
)
