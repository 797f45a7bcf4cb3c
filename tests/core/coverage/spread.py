"""The spread of each footfall. How often an onset is found is a frequency, not an interval."""

import numpy as np

from analytics.core import spread
from tests.core.coverage.studies import Covered, Figure, Study, exact

AT_M = np.array([0.06, 2.10, 4.30, 6.45])
SD_M = np.array([0.08, 0.10, 0.14, 0.12])
"""Growing from step to step and shrinking to the board, as where somebody steers."""


def covered(
    toe: np.ndarray, rng: np.random.Generator, revision: np.ndarray | None = None
) -> Covered | None:
    no_jump = toe[:, 0] < 0
    found = spread.footfall_spread(toe, no_jump, rng=rng, n_resamples=0, revision=revision)
    if not isinstance(found, spread.FootfallSpread):
        return None
    inside = (found.sd_low_m < SD_M) & (found.sd_high_m > SD_M)
    return [bool(inside[0]), bool(inside[2])]


def made(rng: np.random.Generator, n: int) -> np.ndarray:
    return np.asarray(AT_M + rng.normal(0, 1, size=(n, AT_M.size)) * SD_M)


def plain(rng: np.random.Generator) -> Covered | None:
    return covered(made(rng, 10), rng)


def two_revisions(rng: np.random.Generator) -> Covered | None:
    toe, revision = made(rng, 12), np.repeat([1, 2], 6)
    toe[revision == 2] += 0.20
    return covered(toe, rng, revision)


def hidden(rng: np.random.Generator) -> Covered | None:
    toe = made(rng, 20)
    beyond = toe[:, 0] < 0
    shown = toe.copy()
    shown[beyond, 0] = np.nan
    found = spread.footfall_spread(shown, beyond, rng=rng, n_resamples=0)
    if not isinstance(found, spread.FootfallSpread):
        return None
    inside = (found.sd_low_m < SD_M) & (found.sd_high_m > SD_M)
    return [bool(inside[0]), bool(inside[2])]


EXACT = (exact("SD at the board", "chi-square"), exact("SD at footfall 2", "chi-square"))

STUDIES = (
    Study("spread", "10 attempts, SD 0.08 m at the board, 0.14 m at footfall 2", EXACT, plain),
    Study("spread", "6 attempts of each of two plan revisions", EXACT, two_revisions),
    Study(
        "spread",
        "20 attempts, no toe measured beyond the line",
        (
            Figure("SD at the board", "chi-square on equivalent df", 0.925, 0.965),
            exact("SD at footfall 2", "chi-square"),
        ),
        hidden,
    ),
)
