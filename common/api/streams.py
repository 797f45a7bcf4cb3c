"""Answers that are sent while they are read: as long as they may be, they take little memory.

The scope of the request stays open until the last byte, so that one answer shows one state. What
goes wrong before the first byte is a problem like any other. What goes wrong later cannot be told
any more: the connection is broken off, and `Row-Count`, which is known before, says what is missing
to clients that cannot see it.
"""

import sys
from collections.abc import Generator
from contextlib import ExitStack
from typing import Self

from django.db import connection
from django.http import HttpRequest, StreamingHttpResponse

from common.errors import DomainError
from common.waiting import WaitingRoom

# Of the threads of a process: a slow reader keeps one, and pushes must find others.
SHARE = 2
# A transaction holds rows back from being cleared away; who takes nothing for so long loses it.
LONGEST_PAUSE_S = 60


class BusyError(DomainError):
    """Other long answers are being sent, and the rest of the threads are for short ones."""

    code = "busy"
    status = 503
    title = "Too many long answers are being sent; try again"
    retry_after_s = 5


# Until a web process says how many threads it has: the development server and tests.
_room = WaitingRoom(1)


def make_room(*, threads: int) -> None:
    """Let half of the process's threads send long answers."""
    global _room  # noqa: PLW0603  # one room a process, made after the fork
    _room = WaitingRoom(threads // SHARE)


def take_seat(scope: ExitStack) -> None:
    """Take a seat for as long as the scope of the answer is open.

    Raises
    ------
    BusyError
        There is none.
    """
    if not scope.enter_context(_room.seat()):
        raise BusyError
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT set_config('idle_in_transaction_session_timeout', %s, true)",
            [f"{LONGEST_PAUSE_S}s"],
        )


class Pieces:
    """Pieces of an answer, with the scope in which they are read; it is left with the last one."""

    def __init__(self, pieces: Generator[bytes, None, None], scope: ExitStack) -> None:
        self._pieces, self._scope = pieces, scope

    def __iter__(self) -> Self:
        return self

    def __next__(self) -> bytes:
        try:
            return next(self._pieces)
        except StopIteration:
            self.close()
            raise
        except BaseException:
            # The transaction cannot go on; the server breaks the connection off.
            self._scope.__exit__(*sys.exc_info())
            raise

    def close(self) -> None:
        """Let go of cursor and scope; the client may have gone before the end."""
        self._pieces.close()
        self._scope.close()


def stream(
    request: HttpRequest,
    pieces: Generator[bytes, None, None],
    *,
    scope: ExitStack,
    content_type: str,
    headers: dict[str, str],
) -> StreamingHttpResponse:
    """Return an answer of pieces; the first is read at once, so that what fails there is told.

    Who asks with HEAD gets the headers.
    """
    first = next(pieces, b"")
    if request.method == "HEAD":
        pieces.close()
        return StreamingHttpResponse(iter(()), content_type=content_type, headers=headers)
    return StreamingHttpResponse(
        Pieces(_with(first, pieces), scope.pop_all()), content_type=content_type, headers=headers
    )


def _with(first: bytes, pieces: Generator[bytes, None, None]) -> Generator[bytes, None, None]:
    try:
        yield first
        yield from pieces
    finally:
        pieces.close()
