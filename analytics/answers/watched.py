"""Which footfall of a run-up to watch beside the board: one that steering has not hidden yet."""

import numpy as np

from analytics.core import spread
from analytics.core.conventions import NotEnoughAttempts
from analytics.selectors import Marks, RunUps

# The coach's mark stands 4 or 6 steps from the board (common practice, no source).
NEAREST = 4
USUAL = 6
# Below this share of the readings that the most measured check mark has, one is not watched; ours.
HALF_AS_OFTEN = 0.5


def watched_footfall(run_ups: RunUps, marks: Marks | None) -> int | None:
    """Return the footfall whose error tells most of the start mark, or None where none is planned.

    Of the plan's check marks the nearest to the board that is passed before steering begins, as far
    as that is shown; where all are later, the farthest. One that is hardly measured tells nothing,
    and is left out where another one is. Without a check mark, footfall 6 of the planned ones.
    """
    if marks is None:
        return None
    footfalls = sorted(
        mark.footfall for mark in marks.check_marks if NEAREST <= mark.footfall < run_ups.steps
    )
    if footfalls:
        begins, footfalls = _onset(run_ups), _measured(run_ups, footfalls)
        return next((each for each in footfalls if each >= begins), footfalls[-1])
    has_usual = marks.toe_m is not None and run_ups.steps > USUAL
    return USUAL if has_usual else None


def _measured(run_ups: RunUps, footfalls: list[int]) -> list[int]:
    """Return those that are measured at least half as often as the one that is most."""
    counts = [
        int(np.sum(~np.isnan(run_ups.toe_m[:, each]))) if each < run_ups.toe_m.shape[1] else 0
        for each in footfalls
    ]
    return [
        each for each, n in zip(footfalls, counts, strict=True) if n >= HALF_AS_OFTEN * max(counts)
    ]


def _onset(run_ups: RunUps) -> int:
    """Return the footfall at which steering begins, 0 where that is not shown."""
    found = spread.footfall_spread(
        run_ups.toe_m,
        run_ups.no_jump,
        rng=np.random.default_rng(0),  # nothing is drawn
        revision=run_ups.revisions,
        n_resamples=0,
    )
    if isinstance(found, NotEnoughAttempts) or found.onset is None:
        return 0
    return found.onset.footfall
