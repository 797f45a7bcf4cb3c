"""A worker that dies takes nothing with it: the rows say what is to do, not the messages."""

import os
import signal
import time

import pytest

from tests.faults.case import Case


def kill_in_turn(case: Case, *, kills: int) -> None:
    """Kill the worker with its children, or one child of it, again and again under load."""
    worker = case.stack.worker
    with case.load(send_again=False) as load:
        for _ in range(kills):
            time.sleep(case.rng.uniform(0.2, 0.8))
            children = worker.children()
            if children and case.rng.random() < 0.5:
                os.kill(case.rng.choice(children), signal.SIGKILL)
            else:
                worker.kill_with_children()
                time.sleep(case.rng.uniform(0.0, 0.5))
                worker.start()
    case.tell(f"{kills} kills, {len(load.timings)} pushes")


def check_that_nothing_is_missing(case: Case) -> None:
    case.wait_for_figures()
    verdict = case.judge()
    assert verdict.wrong == {}
    assert verdict.failed_pushes == 0
    assert verdict.stored == verdict.asked


class TestWorkerKilled:
    def test_no_push_fails_and_figures_catch_up(self, case):
        kill_in_turn(case, kills=4)

        check_that_nothing_is_missing(case)

    @pytest.mark.slow
    @pytest.mark.timeout(900)
    def test_no_push_fails_and_figures_catch_up_after_a_hundred_kills(self, case):
        kill_in_turn(case, kills=100)

        check_that_nothing_is_missing(case)
        followed = case.figures()
        assert case.rebuilt_figures() == followed
