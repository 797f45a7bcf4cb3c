"""What each part of the run-up adds to the error at the board."""

from collections.abc import Callable

import numpy as np

from analytics.core import error_shares
from analytics.core.error_shares import PARTS, PlannedParts
from tests.core.coverage.studies import Covered, Figure, Study, exact

PLAN = PlannedParts(start_mark_m=34.0, transition_m=18.0, attack_m=8.5, aim_m=0.06)
PLACES_M = (34.0, 18.0, 8.5, 0.06)
MEAN_M = np.array([0.0, 0.05, -0.02, 0.03])
REPAIR = np.array([0.0, 0.0, 0.3, 0.6])
ADDED_SD_M = np.array([0.06, 0.10, 0.06, 0.06])


def true_shares() -> np.ndarray:
    left = np.array([np.prod((1 - REPAIR[part + 1 :]) ** 2) for part in range(4)])
    variances = left * ADDED_SD_M**2
    return np.asarray(variances / variances.sum())


def run(n: int) -> Callable[[np.random.Generator], Covered | None]:
    shares = true_shares()

    def once(rng: np.random.Generator) -> Covered | None:
        deviation = np.zeros(n)
        places = []
        for place, repair, added in zip(PLACES_M, REPAIR, ADDED_SD_M, strict=True):
            deviation = (1 - repair) * deviation + rng.normal(0, added, size=n)
            places.append(place + deviation)
        shifted = [place + shift for place, shift in zip(places, np.cumsum(MEAN_M), strict=True)]
        found = error_shares.error_shares(*shifted, planned=PLAN, rng=rng, n_resamples=200)
        assert isinstance(found, error_shares.ErrorShares)
        means = (found.mean_low_m < MEAN_M) & (found.mean_high_m > MEAN_M)
        shared = (found.board_share_low < shares) & (shares < found.board_share_high)
        return [bool(means[3]), *shared.tolist()]

    return once


STUDIES = tuple(
    Study(
        "error_shares",
        f"{n} attempts, 0.06, 0.10, 0.06 and 0.06 m added, 0, 30 and 60 % repaired",
        (
            exact("mean of the attack", "t"),
            *(
                Figure(f"share of the {part}", "bootstrap", *band)
                for part, band in zip(PARTS, bands, strict=True)
            ),
        ),
        run(n),
    )
    for n, bands in (
        (8, ((0.965, 0.995), (0.92, 0.965), (0.93, 0.975), (0.91, 0.955))),
        (30, ((0.885, 0.935), (0.9, 0.945), (0.9, 0.945), (0.89, 0.94))),
    )
)
