"""The parts of a run-up, as the plans of the attempts have them."""

from dataclasses import dataclass

import numpy as np

from analytics.core.conventions import FloatArray
from analytics.core.error_shares import PlannedParts
from analytics.selectors import RunUps


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """Where the parts of each attempt ended, shape (n,), and where the plans put them.

    Attributes
    ----------
    start_m
        Where the run began: the measured footfall there, else the start mark.
    is_planned
        The plans say where the footfalls at the ends of the parts should be. Otherwise `planned`
        holds what was usual, from which nobody can say which part has its mark wrong.
    has_phases
        The latest plan says where transition and attack begin.
    """

    start_m: FloatArray
    transition_m: FloatArray
    attack_m: FloatArray
    board_m: FloatArray
    planned: PlannedParts
    is_planned: bool
    has_phases: bool


def parts_of(run_ups: RunUps) -> Parts:
    """Return the parts of the attempts, each by the plan that it was made under."""
    n = len(run_ups)
    ends = np.full((n, 2), np.nan)
    planned = np.full((n, 3), np.nan)
    for place, plan_id in enumerate(run_ups.plan_ids):
        marks = None if plan_id is None else run_ups.marks[plan_id]
        if marks is None:
            continue
        planned[place, 0] = marks.start_mark_m
        for column, footfall in enumerate((marks.transition_footfall, marks.attack_footfall)):
            if footfall:
                ends[place, column] = run_ups.toe_m[place, footfall]
                wanted = marks.planned_m(footfall)
                planned[place, column + 1] = np.nan if wanted is None else wanted
    start = where_the_run_began(run_ups)
    is_planned = n > 0 and not np.isnan(planned).any()
    for column, measured in enumerate((start, ends[:, 0], ends[:, 1])):
        _fill_with_usual(planned[:, column], measured, run_ups)
    latest = run_ups.latest_marks()
    return Parts(
        start_m=start,
        transition_m=ends[:, 0],
        attack_m=ends[:, 1],
        board_m=run_ups.board_toe_m,
        planned=PlannedParts(planned[:, 0], planned[:, 1], planned[:, 2], run_ups.aim_m),
        is_planned=is_planned,
        has_phases=latest is not None
        and bool(latest.transition_footfall and latest.attack_footfall),
    )


def where_the_run_began(run_ups: RunUps) -> FloatArray:
    """Return the measured footfall at the start of each attempt, else its start mark."""
    first = run_ups.toe_m[:, run_ups.steps]
    return np.where(np.isnan(first), run_ups.start_mark_m, first)


def _fill_with_usual(planned: FloatArray, measured: FloatArray, run_ups: RunUps) -> None:
    """Put what is usual within its revision where nothing is planned."""
    for revision in np.unique(run_ups.revisions[np.isnan(planned)]):
        those = run_ups.revisions == revision
        known = measured[those & ~np.isnan(measured)]
        planned[those & np.isnan(planned)] = known.mean() if known.size else 0.0
