"""A push never depends on the broker, and a broker that comes back is used again."""

import statistics
import time

import pytest

from tests.faults.case import Case
from tests.faults.stack import paused, wait_until

CATCH_UP_SECONDS = 10.0


def check_that_nothing_is_missing(case: Case) -> None:
    verdict = case.judge()
    assert verdict.wrong == {}
    assert verdict.failed_pushes == 0
    assert verdict.stored == verdict.asked


def wait_until_degraded(case: Case) -> None:
    wait_until(lambda: case.stack.readiness().get("status") == "degraded", "/readyz complains")
    said = case.stack.readiness()
    assert said["http_status"] == 200
    assert any("broker" in complaint for complaint in said["complaints"])


class TestBrokerKilled:
    def test_no_push_fails_and_figures_catch_up_soon_after_its_return(self, case):
        valkey = case.stack.servers.valkey
        with case.load(send_again=False) as load:
            time.sleep(0.5)
            valkey.kill()
            wait_until_degraded(case)
            time.sleep(1.0)
            valkey.start()
            time.sleep(0.3)

        case.wait_for_figures(patience_seconds=CATCH_UP_SECONDS)

        case.tell(f"{len(load.timings)} pushes")
        check_that_nothing_is_missing(case)

    def test_a_message_that_is_lost_costs_seconds_and_no_figure(self, case):
        with case.load(send_again=False):
            for _ in range(5):
                time.sleep(0.2)
                case.stack.flush_broker()

        case.wait_for_figures(patience_seconds=CATCH_UP_SECONDS)

        check_that_nothing_is_missing(case)


class TestBrokerPaused:
    # The promise is twice the normal; a shared machine that is busy elsewhere gets some air on
    # top, which is still far below the tenth of a second of the shortest time-out.
    LONGEST_RATIO, AIR_SECONDS = 2.0, 0.030

    def test_pushes_go_on_as_fast_as_before(self, case):
        valkey = case.stack.servers.valkey
        with case.load(send_again=False) as load:
            time.sleep(0.5)
            begun = time.monotonic()
            time.sleep(2.5)
            pausing = time.monotonic()
            with paused(valkey.pid):
                time.sleep(2.5)
                mending = time.monotonic()

        case.wait_for_figures(patience_seconds=CATCH_UP_SECONDS)

        normal = p95(load.seconds_between(begun, pausing))
        meanwhile = p95(load.seconds_between(pausing, mending))
        case.tell(f"push p95 {normal * 1000:.1f} ms, {meanwhile * 1000:.1f} ms while paused")
        check_that_nothing_is_missing(case)
        assert meanwhile <= self.LONGEST_RATIO * normal + self.AIR_SECONDS

    def test_says_degraded_and_stays_in_service(self, case):
        with paused(case.stack.servers.valkey.pid):
            wait_until_degraded(case)

        case.stack.wait_until_whole()


def p95(seconds: list[float]) -> float:
    return statistics.quantiles(seconds, n=20)[-1]


class TestBrokerRestarted:
    def test_workers_consume_each_time(self, case):
        self.restart(case, times=5)

    @pytest.mark.slow
    @pytest.mark.timeout(900)
    def test_workers_consume_each_of_twenty_times(self, case):
        self.restart(case, times=20)

    def restart(self, case: Case, *, times: int) -> None:
        waited = []
        for number in range(times):
            if case.rng.random() < 0.5:
                case.stack.servers.valkey.kill()
            else:
                case.stack.servers.valkey.stop()
            case.stack.servers.valkey.start()
            case.client.push_until_answered(case.readings.take(4))
            waited.append(case.wait_for_figures(patience_seconds=CATCH_UP_SECONDS))
            assert len(case.seen_in_figures()) == 4 * (number + 1)

        case.told = [line for line in case.told if "started again" in line]
        case.tell(f"{times} restarts, figures after {max(waited):.1f} s at most")
        check_that_nothing_is_missing(case)
