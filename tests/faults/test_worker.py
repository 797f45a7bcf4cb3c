"""A worker that dies takes nothing with it: the rows say what is to do, not the messages."""

import os
import signal
import time
from collections.abc import Iterator
from contextlib import suppress

import pytest
from celery import Celery

from common.idling import EXIT_STATUS
from tests.faults.case import Case
from tests.faults.stack import START_PATIENCE_SECONDS, Program, paused, wait_until

IDLE_LIMIT_SECONDS = 3


# Of so many kills one takes the whole worker, which then has to start anew.
WHOLE_EVERY = 5


def kill_in_turn(case: Case, *, kills: int) -> None:
    """Kill one child of the worker, or the worker with its children, again and again under load.

    Each time it has worked since the last one: a worker that is always killed while it starts
    shows nothing. Some are killed while they start besides.
    """
    worker = case.stack.worker
    with case.load(send_again=False) as load:
        for number in range(kills):
            wait_until_it_works(case)
            time.sleep(case.rng.uniform(0.0, 0.6))
            children = worker.children()
            if children and number % WHOLE_EVERY:
                with suppress(ProcessLookupError):  # it was just being replaced
                    os.kill(case.rng.choice(children), signal.SIGKILL)
                continue
            worker.kill_with_children()
            time.sleep(case.rng.uniform(0.0, 0.5))
            worker.start()
            if case.rng.random() < 0.5:
                time.sleep(case.rng.uniform(0.0, 0.5))
                worker.kill_with_children()
                worker.start()
    case.tell(f"{kills} kills, {len(load.timings)} pushes, {case.refreshes()} refreshes meanwhile")


def wait_until_it_works(case: Case) -> None:
    """Wait until a series is refreshed from now on, and start again what ended by itself.

    A worker that loses a child before it is ready ends.
    """
    before = case.refreshes()

    def has_worked() -> bool:
        case.stack.start_what_ended()
        return case.refreshes() > before

    wait_until(has_worked, "a series was refreshed", patience_seconds=START_PATIENCE_SECONDS)


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
    @pytest.mark.timeout(1800)  # it waits for twenty starts of a worker
    def test_no_push_fails_and_figures_catch_up_after_a_hundred_kills(self, case):
        kill_in_turn(case, kills=100)

        check_that_nothing_is_missing(case)
        followed = case.figures()
        assert case.rebuilt_figures() == followed


@pytest.fixture
def idling_worker(case: Case) -> Iterator[Program]:
    """Put a worker in the stack that is impatient with itself, and take it out again."""
    patient, impatient = (
        case.stack.worker,
        case.stack.new_worker(IDLE_WORKER_ENDS_AFTER_SECONDS=str(IDLE_LIMIT_SECONDS)),
    )
    patient.stop()
    case.stack.worker = impatient
    impatient.start()
    case.stack.wait_until_whole()
    yield impatient
    impatient.stop()
    case.stack.worker = patient
    patient.start()


def stop_consuming(case: Case) -> None:
    """Have the worker stay connected and take no more messages, as one that lost its place does."""
    with Celery(broker=case.stack.servers.redis_url, set_as_current=False) as broker:
        answers = broker.control.cancel_consumer("refresh", reply=True, timeout=5)
    assert [next(iter(answer.values())) for answer in answers or ()] == [
        {"ok": "no longer consuming from refresh"}
    ]


class TestWorkerThatTakesNothing:
    def test_ends_itself_and_the_next_one_catches_up(self, case: Case, idling_worker: Program):
        case.client.push(case.readings.take(20))
        case.wait_for_figures()
        stop_consuming(case)

        case.client.push(case.readings.take(20))
        seconds = wait_until(lambda: not idling_worker.is_running, "the worker has ended itself")

        assert idling_worker.wait() == EXIT_STATUS
        case.tell(f"the worker ended after {seconds:.1f} s, {IDLE_LIMIT_SECONDS} s allowed")
        assert case.stack.start_what_ended() == ["worker"]
        check_that_nothing_is_missing(case)

    def test_goes_on_while_the_broker_is_the_trouble(self, case: Case, idling_worker: Program):
        with paused(case.stack.servers.valkey.pid):
            case.client.push(case.readings.take(20))
            time.sleep(3 * IDLE_LIMIT_SECONDS)
            was_running = idling_worker.is_running

        assert was_running
        check_that_nothing_is_missing(case)
