"""Which check mark answers watch."""

import numpy as np

from analytics.answers.watched import watched_footfall
from analytics.core.conventions import FloatArray
from analytics.selectors import CheckMark
from tests.answers.run_ups import make_marks, make_run_ups

STEPS, STEP_M = 16, 2.0
MARKS = make_marks(check_marks=(CheckMark(6, 12.06), CheckMark(11, 22.06)))


def footfalls(n: int, *measured: int, spread_m: float = 0.10) -> FloatArray:
    """Return attempts of which only some footfalls were measured, and the toe always."""
    toe_m = np.full((n, STEPS + 1), np.nan)
    off_m = np.resize([-1.0, 0.5, 0.0, 1.0, -0.5], n)
    toe_m[:, 0] = 0.06 + 0.04 * off_m
    for each in measured:
        toe_m[:, each] = 0.06 + STEP_M * each + spread_m * off_m
    return toe_m


class TestWatchedFootfall:
    def test_is_the_nearest_check_mark(self):
        both = make_run_ups(footfalls(10, 6, 11), marks=MARKS)

        assert watched_footfall(both, MARKS) == 6

    def test_is_the_one_that_is_measured(self):
        far = make_run_ups(footfalls(10, 11), marks=MARKS)

        assert watched_footfall(far, MARKS) == 11

    def test_is_none_that_hardly_anybody_measured(self):
        """Six readings where steering seems to begin, none at the early mark."""
        toe_m = np.vstack([footfalls(18, 6), footfalls(14, 6)])
        toe_m[18:, 10] = footfalls(14, 10, spread_m=0.30)[:, 10]

        assert watched_footfall(make_run_ups(toe_m, marks=MARKS), MARKS) == 6

    def test_may_be_measured_half_as_often(self):
        toe_m = np.vstack([footfalls(10, 6, 11), footfalls(10, 11)])

        assert watched_footfall(make_run_ups(toe_m, marks=MARKS), MARKS) == 6
        assert watched_footfall(make_run_ups(toe_m[1:], marks=MARKS), MARKS) == 11

    def test_is_the_nearest_before_anything_is_measured(self):
        nothing = make_run_ups(footfalls(3), marks=MARKS)

        assert watched_footfall(nothing, MARKS) == 6

    def test_is_in_the_plan(self):
        run_ups = make_run_ups(footfalls(10, 6), marks=MARKS)

        assert watched_footfall(run_ups, None) is None
        assert watched_footfall(run_ups, make_marks()) is None
