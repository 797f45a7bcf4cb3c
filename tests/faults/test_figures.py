"""Figures are always those of the data: pushers beside refreshers end where a rebuild ends."""

import time

import pytest

from tests.faults.case import Case


def push_beside_refreshers(case: Case, *, seconds: float, pushers: int) -> None:
    """Push attempts out of order and twice, while more refreshes are asked for than are needed."""
    with case.disordered_load(threads=pushers) as load, case.needless_refreshes() as asked:
        time.sleep(seconds)
    case.tell(f"{pushers} pushers, {len(load.timings)} pushes, {asked.total()} needless refreshes")


def check_that_figures_equal_a_rebuild(case: Case) -> None:
    case.wait_for_figures()
    verdict = case.judge()
    followed = case.figures()
    assert verdict.wrong == {}
    assert verdict.failed_pushes == 0
    assert len(followed["points"]) == verdict.stored
    assert followed == case.rebuilt_figures()


class TestPushersBesideRefreshers:
    def test_end_state_equals_a_rebuild_from_scratch(self, case):
        push_beside_refreshers(case, seconds=3.0, pushers=3)

        check_that_figures_equal_a_rebuild(case)

    @pytest.mark.slow
    def test_end_state_equals_a_rebuild_from_scratch_after_a_minute(self, case):
        push_beside_refreshers(case, seconds=60.0, pushers=6)

        check_that_figures_equal_a_rebuild(case)
