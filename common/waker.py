"""Tell the workers that there is something to do, without ever making a request wait.

A request that publishes to a paused broker hangs with it. So a thread of the web process does the
publishing: it takes messages from a bounded queue, sends each distinct one once, and after a
failure leaves the broker alone for a while. A lost message costs seconds, never a figure: the
outbox row stays, and a beat task sweeps what was left over.
"""

import threading
import time
from collections import OrderedDict
from collections.abc import Hashable
from typing import Any

import structlog
from celery import Celery
from django.conf import settings

logger = structlog.get_logger(__name__)

QUEUE_LIMIT = 10_000
RETRY_AFTER_SECONDS = 1.0

Message = tuple[str, tuple[tuple[str, str], ...]]


class Waker:
    """A daemon thread with a bounded queue in which equal messages are one."""

    def __init__(self, broker: Celery) -> None:
        self._broker = broker
        self._waiting: OrderedDict[Hashable, Message] = OrderedDict()
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
            self._waiting[message] = message
            self._changed.notify()

    def _run(self) -> None:
        while True:
            with self._changed:
                while not self._waiting and not self._stopping:
                    self._changed.wait()
                if not self._waiting:
                    return
                _, (task, ids) = self._waiting.popitem(last=False)
            try:
                self._broker.send_task(task, kwargs=dict(ids), retry=False, ignore_result=True)
            except Exception as error:  # noqa: BLE001  # any broker failure is the same to us
                self._leave_alone(error)

    def _leave_alone(self, error: Exception) -> None:
        """Drop what waits (the sweep will find the rows) and pause before the next try."""
        self.failures += 1
        with self._changed:
            self.dropped += 1 + len(self._waiting)
            self._waiting.clear()
            stopping = self._stopping
        logger.warning("broker_out_of_reach", error=type(error).__name__)
        if not stopping:
            time.sleep(RETRY_AFTER_SECONDS)


def _impatient_broker() -> Celery:
    """Return a Celery app for publishing only, whose every wait is short.

    A worker must not use these settings: with such time-outs it never consumed again after a
    pause of the broker.
    """
    broker = Celery("penult-waker", set_as_current=False)
    broker.conf.update(
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
        task_default_queue="refresh",
    )
    return broker


_waker: Waker | None = None


def start() -> None:
    """Start the waker of this process."""
    global _waker  # noqa: PLW0603  # one waker a process, made after the fork
    if settings.WAKER_ENABLED:
        _waker = _waker or Waker(_impatient_broker())
        _waker.start()


def stop() -> None:
    """End the waker of this process."""
    if _waker is not None:
        _waker.stop()


def wake(task: str, **ids: Any) -> None:
    """Ask for `task` soon. Without a running waker nothing happens, and the sweep does it."""
    if _waker is not None:
        _waker.wake(task, **{name: str(value) for name, value in ids.items()})
