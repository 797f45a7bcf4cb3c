"""The waker sends each message soon, rarely twice, and never makes its caller wait."""

import threading
import time

import pytest

from common import waker
from common.broker import MOST_MESSAGES


class Broker:
    """A broker that remembers what it was sent, and can be told to fail."""

    def __init__(self):
        self.sent = []
        self.not_taken = 0
        self.is_broken = False
        self.may_go_on = threading.Event()
        self.may_go_on.set()

    def send_task(self, task, *, kwargs, **options):
        self.may_go_on.wait()
        if self.is_broken:
            raise ConnectionError
        self.sent.append((time.monotonic(), task, kwargs, options))


@pytest.fixture
def broker():
    return Broker()


@pytest.fixture
def awake(broker):
    running = waker.Waker(broker, count_messages=lambda: broker.not_taken)
    running.start()
    yield running
    broker.may_go_on.set()
    running.stop()


def wait_for(broker, count):
    deadline = time.monotonic() + 5
    while len(broker.sent) < count and time.monotonic() < deadline:
        time.sleep(0.005)
    assert len(broker.sent) == count


def wait_for_drops(running, count):
    deadline = time.monotonic() + 5
    while running.dropped < count and time.monotonic() < deadline:
        time.sleep(0.005)
    assert running.dropped == count


class TestWaker:
    def test_sends_a_message_that_the_sweep_makes_worthless(self, awake, broker):
        awake.wake("look", series="a")

        wait_for(broker, 1)
        _, task, kwargs, options = broker.sent[0]
        assert (task, kwargs) == ("look", {"series": "a"})
        assert options["expires"] == waker.WORTHLESS_AFTER_SECONDS

    def test_sends_equal_messages_that_wait_once(self, awake, broker):
        broker.may_go_on.clear()
        awake.wake("look", series="first")
        time.sleep(0.05)  # the thread is inside the broker now
        for _ in range(500):
            awake.wake("look", series="a")

        broker.may_go_on.set()

        wait_for(broker, 2)

    def test_lets_a_message_rest_and_sends_it_all_the_same(self, awake, broker):
        awake.wake("look", series="a")
        wait_for(broker, 1)

        for _ in range(20):
            awake.wake("look", series="a")
        wait_for(broker, 2)

        assert broker.sent[1][0] - broker.sent[0][0] >= waker.REST_SECONDS * 0.9

    def test_lets_no_other_message_wait_for_one_that_rests(self, awake, broker):
        awake.wake("look", series="a")
        wait_for(broker, 1)
        awake.wake("look", series="a")

        awake.wake("look", series="b")

        wait_for(broker, 3)
        assert [kwargs["series"] for _, _, kwargs, _ in broker.sent] == ["a", "b", "a"]

    def test_sends_what_waits_before_it_stops(self, awake, broker):
        awake.wake("look", series="a")
        wait_for(broker, 1)
        awake.wake("look", series="a")

        awake.stop()

        assert len(broker.sent) == 2

    def test_keeps_no_caller_waiting_while_the_broker_hangs(self, awake, broker):
        broker.may_go_on.clear()
        begun = time.monotonic()

        for number in range(1000):
            awake.wake("look", series=str(number))

        assert time.monotonic() - begun < 1.0

    def test_drops_what_does_not_fit(self, awake, broker, monkeypatch):
        monkeypatch.setattr(waker, "QUEUE_LIMIT", 2)
        broker.may_go_on.clear()
        awake.wake("look", series="first")
        time.sleep(0.05)

        for number in range(5):
            awake.wake("look", series=str(number))

        assert awake.dropped == 3

    def test_sends_no_more_than_keeps_workers_busy_and_goes_on_once_they_take_some(
        self, awake, broker
    ):
        broker.not_taken = MOST_MESSAGES
        awake.wake("look", series="a")
        wait_for_drops(awake, 1)

        broker.not_taken = MOST_MESSAGES - 1
        awake.wake("look", series="b")

        wait_for(broker, 1)
        assert broker.sent[0][2] == {"series": "b"}
        assert awake.failures == 0

    def test_drops_what_waits_when_the_broker_fails_and_goes_on_later(
        self, awake, broker, monkeypatch
    ):
        monkeypatch.setattr(waker, "RETRY_AFTER_SECONDS", 0.05)
        broker.is_broken = True
        broker.may_go_on.clear()
        awake.wake("look", series="a")
        awake.wake("look", series="b")
        broker.may_go_on.set()
        time.sleep(0.1)
        broker.is_broken = False

        awake.wake("look", series="c")

        wait_for(broker, 1)
        assert (awake.failures, awake.dropped) == (1, 2)
