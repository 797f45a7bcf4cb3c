"""A study: one setting, simulated many times, and the figures whose intervals are judged in it."""

import importlib
import pkgutil
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tests.core import coverage

Covered = Sequence[bool]


@dataclass(frozen=True)
class Figure:
    """An interval that is judged.

    Attributes
    ----------
    name
        As on the page of its metric.
    kind
        What sort of interval it is, which says how near to its promise it should come.
    low, high
        Band in which the share of runs that cover the truth must lie.
    """

    name: str
    kind: str
    low: float
    high: float


@dataclass(frozen=True)
class Study:
    """Simulated attempts of one setting.

    Attributes
    ----------
    page
        Of the metric, in `docs/metrics`.
    setting
        Who jumps, how often, and what is true.
    figures
        In the order of what `once` returns.
    once
        Makes one set of attempts and says which of the intervals cover the truth, or None where
        there are not enough attempts; then another set is made.
    """

    page: str
    setting: str
    figures: tuple[Figure, ...]
    once: Callable[[np.random.Generator], Covered | None]
    runs: int = 1000

    @property
    def name(self) -> str:
        return f"{self.page}: {self.setting}"


def exact(name: str, kind: str) -> Figure:
    """Return a figure whose interval is exact for normal errors: 0.95 within chance of 1,000 runs.

    The standard error of a share of 0.95 over 1,000 runs is 0.007.
    """
    return Figure(name, kind, 0.935, 0.965)


def list_studies() -> list[Study]:
    """Return the studies of every metric's file in this folder, in the order of their names."""
    names = {found.name for found in pkgutil.iter_modules(coverage.__path__)}
    modules = [
        importlib.import_module(f"{coverage.__name__}.{name}")
        for name in sorted(names - {"__main__", "page", "studies", "test_coverage"})
    ]
    return [study for module in modules for study in module.STUDIES]


def measure(study: Study) -> list[float]:
    """Return for each figure of a study the share of runs whose interval covered the truth.

    Each study has chance of its own, drawn from its name, so that a new one changes no other.
    """
    rng = np.random.default_rng(zlib.crc32(study.name.encode()))
    covered: list[Covered] = []
    while len(covered) < study.runs:
        found = study.once(rng)
        if found is not None:
            covered.append(found)
    return [float(share) for share in np.mean(covered, axis=0)]
