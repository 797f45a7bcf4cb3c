"""How often the search for one shift and the slope speak where there is nothing."""

from collections.abc import Callable, Sequence

import numpy as np
from scipy import stats

from analytics.core import breaks, trends
from tests.core.false_alarms.seasons import SD_M
from tests.core.tables import Row, Table

SERIES = 600

Maker = Callable[[np.random.Generator, int], np.ndarray]


def alike(rng: np.random.Generator, n: int) -> np.ndarray:
    return rng.normal(0, SD_M / 2, size=n)


def long_tailed(rng: np.random.Generator, n: int) -> np.ndarray:
    return rng.standard_t(4, size=n) * SD_M / 2


def of_unequal_size(rng: np.random.Generator, n: int) -> np.ndarray:
    """Sessions of 2 to 9 attempts, the small ones in the first third of the season."""
    size = np.sort(rng.integers(2, 10, size=n))
    later = rng.permuted(size[n // 3 :])
    return rng.normal(0, SD_M, size=n) / np.sqrt(np.append(size[: n // 3], later))


def hanging_together(rng: np.random.Generator, n: int) -> np.ndarray:
    """Each session keeps 0.3 of the error of the one before."""
    points, last = np.empty(n), rng.normal()
    for place in range(n):
        last = 0.3 * last + np.sqrt(1 - 0.3**2) * rng.normal()
        points[place] = last * SD_M / 2
    return points


def measure(make: Maker, n: int) -> Sequence[float]:
    """Return how often a shift is shown, by p and by the F table, and how often a slope is."""
    rng = np.random.default_rng(16)
    limit = stats.f.ppf(0.95, 1, n - 2)
    counts = np.zeros(3)
    for _ in range(SERIES):
        points = make(rng, n)
        found = breaks.find_break(points, rng=rng, n_permutations=199)
        assert isinstance(found, breaks.BreakSearch)
        assert found.largest_f is not None
        line = trends.find_trend(points, 3.5 * np.arange(n))
        assert isinstance(line, trends.Trend)
        interval = line.interval_per_week
        counts += [
            found.shift is not None,
            found.largest_f > limit,
            interval.low > 0 or interval.high < 0,
        ]
    return list(counts / SERIES)


MAKERS: dict[str, Maker] = {
    "alike, normal": alike,
    "alike, long tails (t with 4 df)": long_tailed,
    "2 to 9 attempts, small sessions first": of_unequal_size,
    "each keeps 0.3 of the last": hanging_together,
}

TABLE = Table(
    "Looking back: one shift, and the slope",
    f"""\
{SERIES} seasons for each row in which nothing changed. How often
[the search for one shift](breaks.md) shows one, how often it would if the largest F were held
against F(1, n - 2), and how often [the slope](trends.md) leaves 0 out; 0.05 is what the first and
the last promise. Sessions that hang together in time break both promises: then believe neither
without a reason from the track.""",
    ("sessions", "number"),
    ("a shift is shown", "by F(1, n - 2)", "a slope is shown"),
    tuple(
        Row((name, str(n)), lambda make=make, n=n: measure(make, n))  # type: ignore[misc]
        for name, make in MAKERS.items()
        for n in (12, 20, 40)
    ),
)
