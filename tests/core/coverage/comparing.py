"""Two blocks of attempts against each other."""

from collections.abc import Callable

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


def over_sessions(ratio: float, *, told: bool) -> Callable[[np.random.Generator], Covered | None]:
    """Compare two blocks of 4 sessions of 5 whose spread is the same."""
    session = np.repeat(np.arange(4), 5)

    def once(rng: np.random.Generator) -> Covered | None:
        blocks = []
        for bias in BIAS_M:
            day = rng.normal(0, ratio * SD_M[0], size=4)[session]
            toe = 0.5 + bias + day + rng.normal(0, SD_M[0], size=20)
            block = comparing.block_figures(
                toe, toe < 0, aim_m=0.5, session=session if told else None
            )
            assert isinstance(block, comparing.BlockFigures)
            blocks.append(block)
        found = comparing.compare_blocks(*blocks)
        ratio_of_sds, change = found.sd_ratio_interval, found.bias_change_interval
        assert ratio_of_sds is not None
        return [
            ratio_of_sds.low < 1 < ratio_of_sds.high,
            change.low < BIAS_M[1] - BIAS_M[0] < change.high,
        ]

    return once


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
    *(
        Study(
            "comparing",
            f"4 sessions of 5 attempts twice, sessions differ by {ratio:g} of the spread within",
            (
                exact("SD ratio", "F"),
                Figure("bias change", "Welch's t, prior on sessions", *band),
            ),
            over_sessions(ratio, told=True),
        )
        for ratio, band in ((0.0, (0.97, 1.0)), (0.7, (0.93, 0.98)), (1.5, (0.84, 0.92)))
    ),
    Study(
        "comparing",
        "the same, sessions differ by 0.7 of the spread within and are taken for one",
        (
            Figure("SD ratio", "F, not meant for this", 0.87, 0.95),
            Figure("bias change", "Welch's t, not meant for this", 0.74, 0.86),
        ),
        over_sessions(0.7, told=False),
    ),
)
