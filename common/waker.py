"""Tell the workers that there is something to do, without ever making a request wait.

A request that publishes to a paused broker hangs with it. So a thread of the web process does the
publishing: it takes messages from a bounded queue, sends each distinct one once, and after a
failure leaves the broker alone for a while. A lost message costs seconds, never a figure: the
outbox row stays, and a beat task sweeps what was left over.

The same message rests a moment between two sendings, and is worth nothing once the sweep had its
turn. Without the two, sixty pushes a second on four series kept two workers busy with wake-ups
that found nothing to do, and a worker that came back had thousands of them before the next sweep.

While nobody takes messages, no more are sent than keep the workers busy once they are back.
"""

import heapq
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from typing import Any

import structlog
from celery import Celery
from django.conf import settings

from common import broker

logger = structlog.get_logger(__name__)

QUEUE = "refresh"
QUEUE_LIMIT = 10_000
RETRY_AFTER_SECONDS = 1.0
REST_SECONDS = 0.4
WORTHLESS_AFTER_SECONDS = 30

Message = tuple[str, tuple[tuple[str, str], ...]]


class Waker:
    """A daemon thread with a bounded queue in which equal messages are one."""

    def __init__(self, app: Celery, *, count_messages: Callable[[], int]) -> None:
        self._app = app
        # How many lie at the broker that no worker has taken.
        self._count_messages = count_messages
        self._waiting: set[Message] = set()
        self._due: list[tuple[float, Message]] = []  # a heap: what waits, the earliest first
        self._rest_ends: OrderedDict[Message, float] = OrderedDict()  # in order of time
        self._changed = threading.Condition()
        self._thread: threading.Thread | None = None
        self._stopping = False
        self.dropped = 0
        self.failures = 0

    def start(self) -> None:
        """Start the thread; call it after the fork, since threads do not survive one."""
        if self._thread is None or not self._thread.is_alive():
            self._stopping = False
            self._thread = threading.Thread(target=self._run, name="waker", daemon=True)
            self._thread.start()

    def stop(self, *, patience_seconds: float = 2.0) -> None:
        """Send what is waiting, as far as patience allows, and end the thread."""
        with self._changed:
            self._stopping = True
            self._changed.notify()
        if self._thread is not None:
            self._thread.join(patience_seconds)

    def wake(self, task: str, **ids: str) -> None:
        """Queue a message; when the queue is full it is left to the sweep."""
        message: Message = (task, tuple(sorted(ids.items())))
        with self._changed:
            if message in self._waiting:
                return
            if len(self._waiting) >= QUEUE_LIMIT:
                self.dropped += 1
                return
            self._waiting.add(message)
            heapq.heappush(self._due, (self._when_due(message), message))
            self._changed.notify()

    def _run(self) -> None:
        while (message := self._next()) is not None:
            task, ids = message
            try:
                if self._count_messages() >= broker.MOST_MESSAGES:
                    self.dropped += 1  # the sweep finds the row
                    continue
                self._app.send_task(
                    task,
                    kwargs=dict(ids),
                    retry=False,
                    ignore_result=True,
                    expires=WORTHLESS_AFTER_SECONDS,
                )
            except Exception as error:  # noqa: BLE001  # any broker failure is the same to us
                self._leave_alone(error)

    def _when_due(self, message: Message) -> float:
        now = time.monotonic()
        while self._rest_ends and next(iter(self._rest_ends.values())) <= now:
            self._rest_ends.popitem(last=False)
        return self._rest_ends.get(message, now)

    def _next(self) -> Message | None:
        """Wait for the next message that is due, and take it; None ends the thread."""
        with self._changed:
            while True:
                now = time.monotonic()
                # Whoever stops has no time to let a message rest.
                if self._due and (self._stopping or self._due[0][0] <= now):
                    _, message = heapq.heappop(self._due)
                    self._waiting.remove(message)
                    self._rest_ends[message] = now + REST_SECONDS
                    self._rest_ends.move_to_end(message)
                    return message
                if self._stopping:
                    return None
                self._changed.wait(self._due[0][0] - now if self._due else None)

    def _leave_alone(self, error: Exception) -> None:
        """Drop what waits (the sweep will find the rows) and pause before the next try."""
        self.failures += 1
        with self._changed:
            self.dropped += 1 + len(self._waiting)
            self._waiting.clear()
            self._due.clear()
            stopping = self._stopping
        logger.warning("broker_out_of_reach", error=type(error).__name__)
        if not stopping:
            time.sleep(RETRY_AFTER_SECONDS)


def _impatient_app() -> Celery:
    """Return a Celery app for publishing only, whose every wait is short.

    A worker must not use these settings: with such time-outs it never consumed again after a
    pause of the broker.
    """
    app = Celery("penult-waker", set_as_current=False)
    app.conf.update(
        broker_url=settings.REDIS_URL,
        broker_transport_options={
            "socket_timeout": 0.1,
            "socket_connect_timeout": 0.1,
            "max_retries": 0,
        },
        broker_connection_retry=False,
        task_publish_retry=False,
        task_serializer="json",
        task_ignore_result=True,
        task_default_queue=QUEUE,
    )
    return app


_waker: Waker | None = None


def start() -> None:
    """Start the waker of this process."""
    global _waker  # noqa: PLW0603  # one waker a process, made after the fork
    if settings.WAKER_ENABLED:
        _waker = _waker or Waker(
            _impatient_app(), count_messages=lambda: broker.count_messages(QUEUE)
        )
        _waker.start()


def stop() -> None:
    """End the waker of this process."""
    if _waker is not None:
        _waker.stop()


def wake(task: str, **ids: Any) -> None:
    """Ask for `task` soon. Without a running waker nothing happens, and the sweep does it."""
    if _waker is not None:
        _waker.wake(task, **{name: str(value) for name, value in ids.items()})
