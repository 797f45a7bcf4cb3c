"""What was acknowledged is stored, once, whatever dies."""

import os
import signal
import time

from tests.faults.stack import wait_until

STATUSES_WHILE_DOWN = {503}


class TestWebWorkersKilled:
    def test_every_acknowledged_attempt_is_there_once(self, case):
        kills = 8

        with case.load(threads=3) as load:
            for _ in range(kills):
                time.sleep(case.rng.uniform(0.1, 0.5))
                victim = case.rng.choice(case.stack.web.children())
                os.kill(victim, signal.SIGKILL)
                wait_until(lambda: len(case.stack.web.children()) == 2, "gunicorn replaces it")

        case.wait_for_figures()
        verdict = case.judge()
        case.tell(f"{kills} kills, {len(load.timings)} pushes")
        assert verdict.wrong == {}
        assert verdict.stored == verdict.asked


class TestDatabaseKilled:
    def test_every_acknowledged_attempt_is_there_once(self, case):
        kills = 3

        with case.load(threads=3) as load:
            for _ in range(kills):
                time.sleep(case.rng.uniform(0.3, 1.0))
                case.stack.servers.postgres.kill()
                case.stack.servers.postgres.start()
            time.sleep(0.5)

        case.wait_for_figures()
        verdict = case.judge()
        case.tell(f"{kills} kills, {len(load.timings)} pushes")
        assert verdict.unexpected_statuses.keys() <= STATUSES_WHILE_DOWN
        assert verdict.wrong.keys() <= {"unexpected statuses"}
        assert verdict.stored == verdict.asked
