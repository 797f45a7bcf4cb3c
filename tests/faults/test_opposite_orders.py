"""Two clients that send the same ids in opposite order neither block nor double each other."""

import threading

import pytest

from tests.faults.case import Case
from tests.faults.client import Answer, Readings, Row

SESSIONS_PER_ROUND = 5


def push_in_opposite_orders(case: Case, *, rounds: int, rows_per_batch: int) -> None:
    """Push the same attempts by two clients at once, who both make the sessions that are new."""
    for number in range(rounds):
        rows = Readings(case.scene, case.rng, tag=f"round-{number}").take(rows_per_batch)
        for place, row in enumerate(rows):
            row["session"] = f"round-{number}-{place % SESSIONS_PER_ROUND}"
        both_ready = threading.Barrier(2)
        answers: list[Answer] = []

        def push(
            batch: list[Row],
            both_ready: threading.Barrier = both_ready,
            answers: list[Answer] = answers,
        ) -> None:
            both_ready.wait()
            answers.append(case.client.push(batch, query="?make_sessions=true"))

        pushing = [threading.Thread(target=push, args=[batch]) for batch in (rows, rows[::-1])]
        for thread in pushing:
            thread.start()
        for thread in pushing:
            thread.join()

        assert [answer.status for answer in answers] == [200, 200]
        assert sum(answer.body["created"] for answer in answers) == rows_per_batch
        assert sum(answer.body["known"] for answer in answers) == rows_per_batch


class TestOppositeOrders:
    def test_each_attempt_is_stored_once_and_no_push_fails(self, case):
        push_in_opposite_orders(case, rounds=10, rows_per_batch=1_000)

        self.check(case)

    @pytest.mark.slow
    @pytest.mark.timeout(900)
    def test_each_attempt_is_stored_once_in_thirty_rounds_of_full_batches(self, case):
        push_in_opposite_orders(case, rounds=30, rows_per_batch=5_000)

        self.check(case)

    def check(self, case: Case) -> None:
        verdict = case.judge_storage()
        assert verdict.wrong == {}
        assert verdict.failed_pushes == 0
        assert verdict.stored == verdict.asked
