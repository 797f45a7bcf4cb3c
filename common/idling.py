"""A worker that idles while work waits ends itself, and its supervisor starts a whole one.

A worker can lose its place at the broker without noticing: it is connected, answers, and never
takes a message again. It can tell by three signs: what is due has been waiting for long, messages
lie at the broker, and it has had nothing to do all the time.

None of them alone is a reason. Without messages it is beat that fails, not the worker; without a
broker a new worker could do no more than wait, either; and one that is busy is late, not lost.
"""

import os
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

import redis
import structlog
from celery.worker import state
from django.db import DatabaseError, connection

from common import broker

logger = structlog.get_logger(__name__)

# EX_SOFTWARE of sysexits.h: not 0, so that a supervisor that looks at it starts the worker again.
EXIT_STATUS = 70
LOOKS_PER_LIMIT = 6
# Longer than the soft shutdown of config/celery.py takes.
PATIENCE_SECONDS = 30.0


@dataclass(frozen=True, slots=True)
class Sight:
    """What one look finds.

    Attributes
    ----------
    taken
        Tasks that the worker has taken since it started.
    in_hand
        Tasks that it has and has not finished.
    oldest_s
        For how long what is due has been waiting.
    messages
        How many lie at the broker; None when it does not answer.
    """

    taken: int
    in_hand: int
    oldest_s: float
    messages: int | None


class Idleness:
    """Tells from one look after the other whether the worker is lost."""

    def __init__(self, *, limit_s: float, now_s: float) -> None:
        self._limit_s = limit_s
        self._idle_since_s = now_s
        self._taken = 0

    def is_lost(self, sight: Sight, *, now_s: float) -> bool:
        """Answer whether it has idled for the limit while work has waited for as long."""
        if sight.taken != self._taken or sight.in_hand:
            self._taken, self._idle_since_s = sight.taken, now_s
        return (
            now_s - self._idle_since_s > self._limit_s
            and sight.oldest_s > self._limit_s
            and bool(sight.messages)
        )


def start(*, queue: str, limit_s: float, oldest_s: Callable[[], float]) -> None:
    """Watch this worker from a thread of its own, whatever the rest of it is stuck in.

    `oldest_s` asks the database for how long what is due has been waiting.
    """
    threading.Thread(
        target=_watch, args=(queue, limit_s, oldest_s), name="idle-watch", daemon=True
    ).start()


def _watch(queue: str, limit_s: float, oldest_s: Callable[[], float]) -> None:
    idleness = Idleness(limit_s=limit_s, now_s=time.monotonic())
    while True:
        time.sleep(limit_s / LOOKS_PER_LIMIT)
        sight = _look(queue, oldest_s)
        if sight is not None and idleness.is_lost(sight, now_s=time.monotonic()):
            logger.error("idle_worker_ends", oldest_s=sight.oldest_s, messages=sight.messages)
            _end()


def _look(queue: str, oldest_s: Callable[[], float]) -> Sight | None:
    """Return what can be seen now; None without the database: a new worker would miss it, too."""
    try:
        waiting_s = oldest_s()
    except DatabaseError as error:
        logger.warning("idle_watch_sees_nothing", error=type(error).__name__)
        return None
    finally:
        connection.close()  # a child that is forked meanwhile must not share it
    try:
        messages = broker.count_messages(queue)
    except redis.RedisError:
        messages = None
    return Sight(
        taken=sum(state.total_count.values()),
        in_hand=len(state.reserved_requests),
        oldest_s=waiting_s,
        messages=messages,
    )


def _end() -> None:
    """End the worker politely; one that does not hear it is ended with all that it forked."""
    state.should_stop = EXIT_STATUS  # type: ignore[assignment]  # where the library reads a status
    time.sleep(PATIENCE_SECONDS)
    logger.error("idle_worker_is_stuck")
    if os.getpgrp() == os.getpid():
        os.killpg(os.getpid(), signal.SIGKILL)
    os._exit(EXIT_STATUS)
