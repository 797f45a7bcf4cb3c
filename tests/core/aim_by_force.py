"""The best aim by brute force: aims of 1 mm, every result, no shortcut; and by throwing dice."""

from dataclasses import dataclass

import numpy as np
from scipy import special


@dataclass(frozen=True)
class Jumper:
    """An athlete whose spreads are known: toe about the aim, and effective distance, metres."""

    toe_sd_m: float = 0.08
    distance_m: float = 6.5
    distance_sd_m: float = 0.12


@dataclass(frozen=True)
class Forced:
    """The best of all aims, in metres, and the result to be expected with it."""

    aim_m: float
    expected_m: float


class Force:
    """Chances of every official result for every aim of `step_m`, by integration over the toe."""

    def __init__(self, jumper: Jumper, *, farthest_m: float = 0.20, step_m: float = 0.001) -> None:
        self.aims = np.arange(round(farthest_m / step_m) + 1) * step_m
        middle, spread = jumper.distance_m, jumper.distance_sd_m
        low = round(100 * (middle - 6 * spread - farthest_m - 6 * jumper.toe_sd_m))
        self.results = np.arange(max(low, 1), round(100 * (middle + 6 * spread))) / 100
        # The middle of slices 0.5 mm thick, from the line to beyond the farthest toe.
        thick = 0.0005
        toe = np.arange(0, farthest_m + 8 * jumper.toe_sd_m, thick) + thick / 2
        share = np.exp(-0.5 * ((toe - self.aims[:, None]) / jumper.toe_sd_m) ** 2)
        share *= thick / (jumper.toe_sd_m * np.sqrt(2 * np.pi))
        at_least = special.ndtr((middle - toe[:, None] - self.results) / spread)
        reaches = share @ at_least
        exactly = -np.diff(reaches, axis=1, append=0)
        nothing = 1 - exactly.sum(axis=1, keepdims=True)
        # Column 0: no result at all, which counts as 0 m.
        self.chance = np.concatenate([nothing, exactly], axis=1)
        self.value = np.concatenate([[0], self.results])

    def fixed(self, attempts: int, *, best_m: float = 0.0, cut_m: float | None = None) -> Forced:
        """Return the best single aim, by backward induction for each aim apart."""
        worth = np.broadcast_to(self.value, self.chance.shape)
        for left in range(1, attempts + 1):
            worth = self._ahead(self._cut(worth, left, cut_m))
        return self._best(worth[:, self._state(best_m)])

    def plan(self, attempts: int, *, best_m: float = 0.0, cut_m: float | None = None) -> Forced:
        """Return the best first aim by backward induction over every best so far."""
        return self._best(self.plan_curve(attempts, best_m=best_m, cut_m=cut_m))

    def plan_curve(
        self, attempts: int, *, best_m: float = 0.0, cut_m: float | None = None
    ) -> np.ndarray:
        """Return what each first aim is worth when the later ones are the best."""
        worth, ahead = self.value, np.empty(0)
        for left in range(1, attempts + 1):
            ahead = self._ahead(self._cut(worth, left, cut_m))
            worth = ahead.max(axis=0)
        return ahead[:, self._state(best_m)]

    def _ahead(self, worth: np.ndarray) -> np.ndarray:
        """Return what is expected of each aim for each best so far: it stays, or is beaten."""
        gained = self.chance * worth
        beaten = gained[:, ::-1].cumsum(axis=1)[:, ::-1] - gained
        return np.cumsum(self.chance, axis=1) * worth + beaten

    def _cut(self, worth: np.ndarray, left: int, cut_m: float | None) -> np.ndarray:
        if cut_m is None or left != 4:
            return worth
        return np.where(self.value < cut_m - 1e-9, self.value, worth)

    def _state(self, best_m: float) -> int:
        return int(np.searchsorted(self.value, best_m - 1e-9))

    def _best(self, expected: np.ndarray) -> Forced:
        first = int(np.argmax(expected))
        return Forced(float(self.aims[first]), float(expected[first]))


def by_chance(
    toe_mean: np.ndarray,
    toe_sd: np.ndarray,
    distance_mean: np.ndarray,
    distance_sd: np.ndarray,
    *,
    attempts: int,
    best_m: float,
    rng: np.random.Generator,
) -> tuple[float, float]:
    """Return the mean best result of many competitions, one for each truth, and its error."""
    best = np.full(toe_mean.size, best_m)
    for _ in range(attempts):
        toe = rng.normal(toe_mean, toe_sd)
        official = np.floor(100 * (rng.normal(distance_mean, distance_sd) - toe) + 1e-9) / 100
        best = np.where(toe >= 0, np.maximum(best, official), best)
    return float(best.mean()), float(best.std() / np.sqrt(best.size))
