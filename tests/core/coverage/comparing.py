"""Two blocks of attempts against each other."""

import numpy as np

from analytics.core import comparing
from tests.core.coverage.studies import Covered, Figure, Study, exact

BIAS_M, SD_M = (0.06, 0.02), (0.10, 0.07)


def compared(toe: tuple[np.ndarray, np.ndarray], *, hide: bool) -> Covered | None:
    blocks = []
    for each in toe:
        shown = np.where(each < 0, np.nan, each) if hide else each
        block = comparing.block_figures(shown, each < 0)
        if not isinstance(block, comparing.BlockFigures):
            return None
        blocks.append(block)
    found = comparing.compare_blocks(*blocks)
    ratio, change = found.sd_ratio_interval, found.bias_change_interval
    assert ratio is not None
    return [
        ratio.low < SD_M[1] / SD_M[0] < ratio.high,
        change.low < BIAS_M[1] - BIAS_M[0] < change.high,
    ]


def made(rng: np.random.Generator, sizes: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    # Less the aim of 0.06 m these are the biases above.
    first, second = (
        rng.normal(0.06 + bias, sd, size=n) for bias, sd, n in zip(BIAS_M, SD_M, sizes, strict=True)
    )
    return first, second


def plain(rng: np.random.Generator) -> Covered | None:
    return compared(made(rng, (8, 14)), hide=False)


def hidden(rng: np.random.Generator) -> Covered | None:
    return compared(made(rng, (15, 20)), hide=True)


STUDIES = (
    Study(
        "comparing",
        "8 attempts against 14, SD 0.10 m and 0.07 m",
        (exact("SD ratio", "F"), Figure("bias change", "Welch's t", 0.935, 0.97)),
        plain,
    ),
    Study(
        "comparing",
        "15 attempts against 20, SD 0.10 m and 0.07 m, no toe measured beyond the line",
        (
            Figure("SD ratio", "F on equivalent df", 0.92, 0.965),
            Figure("bias change", "Welch's t on equivalent df", 0.935, 0.975),
        ),
        hidden,
    ),
)
