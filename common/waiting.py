"""Room for requests that wait for something fresher: few seats, so that the others go on.

A request that waits keeps its thread, and nothing else: no transaction and no connection. At most
a quarter of the threads may wait; whoever finds no seat is answered at once.
"""

import threading
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager

from django.db import connection

# Of the threads of a process.
SHARE = 4
FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.05, 0.4


class WaitingRoom:
    """A number of seats; nobody queues for one."""

    def __init__(self, seats: int) -> None:
        self._free = threading.BoundedSemaphore(seats) if seats else None

    @contextmanager
    def seat(self) -> Iterator[bool]:
        """Take a seat while the block lasts, and yield whether there was one."""
        if self._free is None or not self._free.acquire(blocking=False):
            yield False
            return
        try:
            yield True
        finally:
            self._free.release()


# Until a web process says how many threads it has: the development server and tests.
_room = WaitingRoom(1)


def make_room(*, threads: int) -> None:
    """Let a quarter of the process's threads wait."""
    global _room  # noqa: PLW0603  # one room a process, made after the fork
    _room = WaitingRoom(threads // SHARE)


def seat() -> AbstractContextManager[bool]:
    """Take a seat in the room of this process, if there is one; see `WaitingRoom.seat`."""
    return _room.seat()


def pauses(seconds: float) -> Iterator[None]:
    """Rest for a moment before each yield, without a connection, until `seconds` are over.

    Moments grow, since a new connection costs some milliseconds. The last look is at the end.
    """
    ends_at = time.monotonic() + seconds
    pause_s = FIRST_PAUSE_S
    while (left_s := ends_at - time.monotonic()) > 0:
        connection.close()
        time.sleep(min(pause_s, left_s))
        pause_s = min(2 * pause_s, LONGEST_PAUSE_S)
        yield
