"""Clients that cost little themselves: questions over connections that stay open."""

import socket
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import ExitStack
from types import TracebackType
from typing import Self

from config.local_dir import LOOPBACK

BUFFER_BYTES = 1 << 18


class Line:
    """A connection that asks the same each time, and reads the answer without looking at it.

    The request is written once, of the answer's head only status and length are read: a client
    that does more would take the processor's time away from the server that it times.
    """

    def __init__(
        self, port: int, path: str, *, token: str, accept: str = "application/json"
    ) -> None:
        self._request = (
            f"GET {path} HTTP/1.1\r\nHost: {LOOPBACK}\r\nAccept: {accept}\r\n"
            f"Authorization: {token}\r\n\r\n"
        ).encode()
        self._port = port
        self._socket: socket.socket | None = None

    def ask(self) -> int:
        """Ask once, and return how many bytes the answer's content has.

        Raises
        ------
        RuntimeError
            The answer is no success, or the connection broke.
        """
        if self._socket is None:
            self._socket = socket.create_connection((LOOPBACK, self._port))
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket.sendall(self._next_request())
        received = b""
        while (ends_at := received.find(b"\r\n\r\n")) < 0:
            received += self._receive()
        head = received[:ends_at].lower()
        if not head.startswith((b"http/1.1 200", b"http/1.1 201")):
            raise RuntimeError(f"{head.decode('latin-1')}\n{received[ends_at:][:500]!r}")
        length = int(head.partition(b"content-length:")[2].split(b"\r\n", 1)[0])
        missing = length - (len(received) - ends_at - 4)
        while missing > 0:
            missing -= len(self._receive())
        return length

    def _next_request(self) -> bytes:
        return self._request

    def close(self) -> None:
        """Let go; the next question opens the connection again."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _receive(self) -> bytes:
        assert self._socket is not None  # `ask` opened it
        received = self._socket.recv(BUFFER_BYTES)
        if not received:
            raise RuntimeError("The server closed the connection.")
        return received

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


class PushLine(Line):
    """A connection that pushes one body after the other, each written before it is asked for."""

    def __init__(self, port: int, path: str, *, token: str, bodies: Iterable[bytes]) -> None:
        super().__init__(port, path, token=token)
        head = self._request.removesuffix(b"\r\n").replace(b"GET", b"POST", 1)
        self._requests = iter(
            [
                head + b"Content-Type: application/json\r\n"
                b"Content-Length: %d\r\n\r\n%b" % (len(body), body)
                for body in bodies
            ]
        )

    def _next_request(self) -> bytes:
        return next(self._requests)


Dial = Callable[[], Line]


def ask_in_turn(dial: Dial, count: int) -> list[float]:
    """Ask over one connection, one question after the other; return the seconds of each."""
    seconds = []
    with dial() as line:
        line.ask()  # which opens the connection
        for _ in range(count):
            began = time.perf_counter()
            line.ask()
            seconds.append(time.perf_counter() - began)
    return seconds


def ask_together(dial: Dial, count: int, *, clients: int) -> float:
    """Let clients ask side by side, `count` questions in all; return how many a second.

    Raises
    ------
    RuntimeError
        A client failed.
    """
    each = count // clients
    failures: list[Exception] = []

    def ask(line: Line) -> None:
        try:
            for _ in range(each):
                line.ask()
        except Exception as error:  # noqa: BLE001  # told to the main thread, which raises it
            failures.append(error)

    with ExitStack() as stack:
        lines = [stack.enter_context(dial()) for _ in range(clients)]
        for line in lines:
            line.ask()
        began = time.perf_counter()
        _run_all([threading.Thread(target=ask, args=[line]) for line in lines])
        seconds = time.perf_counter() - began
    if failures:
        raise RuntimeError("A client failed.") from failures[0]
    return each * clients / seconds


def _run_all(threads: Sequence[threading.Thread]) -> None:
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
