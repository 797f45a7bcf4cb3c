"""A reader may wait for fresh figures (RFC 7240), and the service goes on meanwhile."""

import json
import time
import urllib.request
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import Any

import psycopg
import pytest

from tests.faults.case import Case
from tests.faults.stack import Program, paused

# As config/gunicorn.py has it: two processes with four threads each.
THREADS, PROCESSES = 4, 2
SEATS = PROCESSES * (THREADS // 4)


@dataclass(frozen=True)
class Read:
    seconds: float
    applied: str | None
    body: dict[str, Any]


def read(case: Case, approach_id: str, *, prefer: str | None = None) -> Read:
    headers = {"Authorization": f"Bearer {case.scene.reader_token}"}
    request = urllib.request.Request(  # noqa: S310  # our own http address
        f"{case.stack.base_url}/api/v1/clubs/{case.scene.club}/approaches/{approach_id}/trend",
        headers=headers if prefer is None else headers | {"Prefer": prefer},
    )
    begun = time.monotonic()
    with urllib.request.urlopen(request, timeout=30) as answer:  # noqa: S310  # the same
        body = json.load(answer)
        applied = answer.headers["Preference-Applied"]
    return Read(time.monotonic() - begun, applied, body)


@contextmanager
def frozen(program: Program) -> Iterator[None]:
    """Stop a program with all its children where they stand."""
    with ExitStack() as stack:
        for pid in (program.pid, *program.children()):
            stack.enter_context(paused(pid))
        yield


@pytest.fixture
def approach_id(case: Case) -> str:
    """Return a series that has no figures yet, nor anything to compute."""
    return next(iter(case.scene.series.values()))


def push(case: Case, approach_id: str) -> int:
    """Push attempts, and return how many of them are of the series."""
    rows = case.readings.take(12)
    assert case.client.push(rows).status == 200
    return sum(
        case.scene.series[row["athlete"].removeprefix("ext:")] == approach_id for row in rows
    )


class TestWaitingReader:
    def test_gets_the_figures_that_its_push_will_change(self, case: Case, approach_id: str):
        with ThreadPoolExecutor() as pool:
            with frozen(case.stack.worker):
                pushed = push(case, approach_id)
                begun = time.monotonic()
                waiting = pool.submit(read, case, approach_id, prefer="wait=10")
                time.sleep(0.8)
                was_waiting = not waiting.done()
                worked_after_s = time.monotonic() - begun
            fresh = waiting.result()
        case.told.append(f"fresh {fresh.seconds - worked_after_s:.2f} s after the worker came back")

        assert was_waiting
        assert (fresh.body["stale"], fresh.body["n"]) == (False, pushed)
        assert fresh.applied == "wait=10"
        assert fresh.seconds < 10

    def test_gets_what_there_is_when_the_time_is_over(self, case: Case, approach_id: str):
        with frozen(case.stack.worker):
            push(case, approach_id)

            old = read(case, approach_id, prefer="respond-async, wait=1")

        assert (old.body["stale"], old.applied) == (True, "wait=1")
        assert 1.0 <= old.seconds < 2.0

    def test_holds_no_transaction(self, case: Case, approach_id: str):
        """Look from outside, ten times a second; the stopped worker may have been within one."""
        address = case.stack.servers.database_url("superuser")
        looks: list[set[int]] = []
        with (
            frozen(case.stack.worker),
            ThreadPoolExecutor() as pool,
            psycopg.connect(address, autocommit=True) as observer,
        ):
            push(case, approach_id)
            # However short a transaction was when the worker was stopped, it grows old meanwhile.
            before = in_transaction(observer, for_ms=0)
            waiting = pool.submit(read, case, approach_id, prefer="wait=2")
            while not waiting.done():
                looks.append(in_transaction(observer) - before)
                time.sleep(0.1)

        assert waiting.result().applied == "wait=2"
        assert len(looks) > 10
        assert set.union(*looks) == set()


def in_transaction(observer: psycopg.Connection, *, for_ms: int = 50) -> set[int]:
    """Return who has been within a transaction for some time, longer than a read takes."""
    found = observer.execute(
        "SELECT pid FROM pg_stat_activity WHERE usename = 'penult_app'"
        " AND state LIKE 'idle in transaction%%' AND clock_timestamp() - xact_start"
        " >= %s * interval '1 ms'",
        [for_ms],
    )
    return {pid for (pid,) in found}


class TestManyWaitingReaders:
    def test_leave_three_quarters_of_the_threads_to_others(self, case: Case, approach_id: str):
        readers = PROCESSES * THREADS
        with frozen(case.stack.worker), ThreadPoolExecutor(readers) as pool:
            push(case, approach_id)
            asked: list[Future[Read]] = [
                pool.submit(read, case, approach_id, prefer="wait=3") for _ in range(readers)
            ]
            time.sleep(0.5)
            others = [read(case, approach_id) for _ in range(20)]
            answers = [each.result() for each in asked]
        waited = [answer for answer in answers if answer.applied is not None]
        sent_off = [answer for answer in answers if answer.applied is None]
        slowest_s = max(each.seconds for each in [*others, *sent_off])
        case.told.append(f"{len(waited)} of {readers} waited; slowest other {slowest_s:.2f} s")

        # The system gives connections to processes as it likes; each process has its own seats.
        assert 1 <= len(waited) <= SEATS
        assert all(answer.seconds >= 3.0 for answer in waited)
        assert all(answer.body["stale"] for answer in answers)
        assert slowest_s < 2.0
