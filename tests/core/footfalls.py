"""Footfalls made up for the tests of their spread."""

import numpy as np
from scipy import stats

from analytics.core import spread

NAN = float("nan")


def matrix(*sds: float, n: int = 12, steps: float = 2.0) -> np.ndarray:
    """Return attempts whose footfall k has exactly the given SD, all going the same way."""
    shape = stats.norm.ppf((np.arange(n) + 0.5) / n)
    shape = shape / shape.std(ddof=1)
    return np.column_stack([0.5 + steps * k + sd * shape for k, sd in enumerate(sds)])


def describe(toe: np.ndarray, **options) -> spread.FootfallSpread:
    options.setdefault("rng", np.random.default_rng(1))
    options.setdefault("n_resamples", 0)
    no_jump = options.pop("no_jump", np.zeros(toe.shape[0], bool))
    result = spread.footfall_spread(toe, no_jump, **options)
    assert isinstance(result, spread.FootfallSpread)
    return result


def with_hidden(n: int = 24, *, seed: int = 3) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return four footfalls of one who steers somewhat, which of them are no jumps, and revisions.

    No toe beyond the line was measured. The second revision lands 0.05 m farther back.
    """
    rng = np.random.default_rng(seed)
    revision = np.arange(n) % 2
    far = rng.normal(0, 0.12, size=n)
    near = 0.06 + 0.05 * revision + 0.5 * far + rng.normal(0, 0.06, size=n)
    toe = np.column_stack(
        [near, 2.1 + 0.7 * far + rng.normal(0, 0.05, size=n), 4.2 + far, 6.3 + 0.8 * far]
    )
    no_jump = near < 0
    toe[no_jump, 0] = NAN
    return toe, no_jump, revision
