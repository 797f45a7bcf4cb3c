"""Timing in rounds that alternate, so that a machine that slows down slows everyone alike."""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

# What it returns, if anything, is called when the clock has stopped: what must be put away.
Run = Callable[[int], Callable[[], None] | None]


@dataclass(frozen=True)
class Spread:
    """The middle of some values and how far they lie apart: the quartiles, least and greatest."""

    median: float
    quartiles: tuple[float, float]
    least: float
    greatest: float
    n: int

    @classmethod
    def of(cls, values: Sequence[float]) -> "Spread":
        low, median, high = np.quantile(values, [0.25, 0.5, 0.75])
        return cls(
            median=float(median),
            quartiles=(float(low), float(high)),
            least=float(min(values)),
            greatest=float(max(values)),
            n=len(values),
        )


def interleave(
    runs: Mapping[str, Run],
    *,
    rounds: int,
    warm_up: int = 1,
    clock: Callable[[], float] = time.perf_counter,
) -> dict[str, list[float]]:
    """Return the seconds that each run took in each round: A B C, B C A, and so on.

    Each round begins with another run, since it matters who ran before: a busy disk and full
    caches are left to the next one. A run gets the number of its round, so that it can do
    something new each time. The first `warm_up` rounds are not counted.
    """
    seconds: dict[str, list[float]] = {name: [] for name in runs}
    names = list(runs)
    for number in range(warm_up + rounds):
        first = number % len(names)
        for name in names[first:] + names[:first]:
            started = clock()
            put_away = runs[name](number)
            if number >= warm_up:
                seconds[name].append(clock() - started)
            if put_away is not None:
                put_away()
    return seconds


def rates(seconds: Sequence[float], *, count: int) -> Spread:
    """Return how many of `count` were done a second."""
    return Spread.of([count / each for each in seconds])


def times_as_fast(
    subject: Sequence[float], other: Sequence[float], *, count: int, other_count: int
) -> Spread:
    """Return, round by round, the subject's rate as a multiple of the other's."""
    return Spread.of(
        [
            (count / mine) / (other_count / theirs)
            for mine, theirs in zip(subject, other, strict=True)
        ]
    )


def percentiles(values: Sequence[float]) -> dict[str, float]:
    """Return the median, the 95th and the 99th percentile, and the greatest value."""
    p50, p95, p99 = np.quantile(values, [0.5, 0.95, 0.99])
    return {"p50": float(p50), "p95": float(p95), "p99": float(p99), "greatest": float(max(values))}
