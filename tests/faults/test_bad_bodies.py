"""Bodies that break off, never end or grow without end, on the wire; nothing of them is stored."""

import gzip
import json
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.faults.case import Case

LIMIT = 10 * 1024 * 1024
PIECE = 64 * 1024
PATIENCE_SECONDS = 30.0
# What a web process may keep after the worst that clients can send it.
MOST_GROWTH_MB = 60


@dataclass(frozen=True)
class Answer:
    status: int
    code: str | None
    created: int | None


class Wire:
    """A connection of its own for each request: what a client sends, and when it falls silent."""

    def __init__(self, case: Case, media_type: str = "application/x-ndjson") -> None:
        self._case = case
        self._head = (
            f"POST /api/v1/clubs/{case.scene.club}/attempts/batch/ HTTP/1.1\r\n"
            f"Host: 127.0.0.1\r\nConnection: close\r\n"
            f"Authorization: Bearer {case.scene.device_token}\r\n"
            f"Content-Type: {media_type}\r\n"
        )

    def send(self, pieces: Iterator[bytes], **headers: str) -> Answer:
        """Send the pieces, say that nothing more comes, and read the answer."""
        with socket.create_connection(("127.0.0.1", self._case.stack.port)) as connection:
            connection.settimeout(PATIENCE_SECONDS)
            lines = "".join(
                f"{name.replace('_', '-')}: {value}\r\n" for name, value in headers.items()
            )
            connection.sendall(f"{self._head}{lines}\r\n".encode())
            try:
                for piece in pieces:
                    connection.sendall(piece)
                connection.shutdown(socket.SHUT_WR)
            except ConnectionError:
                pass  # answered before all was sent, and closed
            return self._read(connection)

    def _read(self, connection: socket.socket) -> Answer:
        with connection.makefile("rb") as answer:
            status = int(answer.readline().split()[1])
            while answer.readline().strip():
                pass
            said = json.loads(answer.read())
        return Answer(status, said.get("code"), said.get("created"))


def whole(body: bytes) -> Iterator[bytes]:
    yield from (body[at : at + PIECE] for at in range(0, len(body), PIECE))


def in_chunks(body: bytes) -> Iterator[bytes]:
    """Yield a body as chunks (RFC 9112, 7.1)."""
    for piece in whole(body):
        yield b"%x\r\n%s\r\n" % (len(piece), piece)
    yield b"0\r\n\r\n"


def lines_of(case: Case, count: int) -> bytes:
    return b"".join(json.dumps(row).encode() + b"\n" for row in case.readings.take(count))


CHUNKED = {"Transfer_Encoding": "chunked"}


class TestBodyInChunks:
    def test_is_stored_as_any_other(self, case):
        body = lines_of(case, 200)

        answer = Wire(case).send(in_chunks(body), **CHUNKED)
        packed = Wire(case).send(in_chunks(gzip.compress(body)), **CHUNKED, Content_Encoding="gzip")

        assert answer == Answer(200, None, created=200)
        assert packed == Answer(200, None, created=0)
        assert len(case.stored()) == 200

    def test_is_held_to_the_limit(self, case):
        answer = Wire(case).send(in_chunks(b" " * (LIMIT + 1)), **CHUNKED)

        assert answer == Answer(413, "body_too_large", created=None)


class TestBodyThatBreaksOff:
    @pytest.mark.parametrize(
        "broken",
        [
            lambda body: in_chunks(body[:-40] + b"x" * 40),
            lambda body: iter([b"%x\r\n%s" % (len(body), body[:-40])]),
            lambda body: iter([b"%x\r\n%s\r\n" % (len(body), body)]),
            lambda body: iter([b"%x\r\n%sXX0\r\n\r\n" % (len(body), body)]),
            lambda body: iter([b"lots\r\n", body]),
            lambda body: iter([]),
        ],
        ids=[
            "no JSON at its end",
            "in a chunk",
            "between chunks",
            "no line break",
            "no size",
            "empty",
        ],
    )
    def test_of_chunks_is_refused(self, case, broken):
        body = lines_of(case, 3)

        answer = Wire(case).send(broken(body), **CHUNKED)

        if answer.status == 200:  # it came as a whole, with a last line that is none
            assert answer.created == 2
        else:
            assert answer == Answer(400, "incomplete_body", created=None)
            assert case.stored() == []

    def test_of_a_known_length_is_refused(self, case):
        """Half of a table or of lines would pass for a smaller whole."""
        body = lines_of(case, 3)

        answer = Wire(case).send(whole(body), Content_Length=str(len(body) + 1))

        assert answer == Answer(400, "incomplete_body", created=None)
        assert case.stored() == []


class TestBodyThatIsTooLarge:
    def test_is_answered_whether_its_length_is_known_or_not(self, case):
        answer = Wire(case).send(whole(b" " * (LIMIT + 1)), Content_Length=str(LIMIT + 1))

        assert answer == Answer(413, "body_too_large", created=None)

    def test_leaves_the_memory_of_the_web_processes_flat(self, case):
        bomb = gzip.compress(bytes(40 * LIMIT))
        bodies = [
            (b"[" + b"1," * (LIMIT // 2 - 2) + b"1]", {}),
            (b"[[" + b"1," * (LIMIT // 2 - 3) + b"1]]", {}),
            (b"[" * LIMIT, {}),
            (bomb, {"Content_Encoding": "gzip"}),
            (gzip.compress(bomb * 20), {"Content_Encoding": "gzip"}),
        ]
        wire = Wire(case, "application/json")
        for body, headers in bodies * 2:
            wire.send(whole(body), Content_Length=str(len(body)), **headers)
        before = memory_mb(case)

        for _ in range(4):
            for body, headers in bodies:
                answer = wire.send(whole(body), Content_Length=str(len(body)), **headers)
                assert answer.status in {200, 400, 413}

        after = memory_mb(case)
        case.tell(f"web processes took {before:.0f} MB before, {after:.0f} MB after")
        assert after - before < MOST_GROWTH_MB


def memory_mb(case: Case) -> float:
    """Return what the web processes take at most until now, each its peak (proc(5), VmHWM)."""
    peaks_kb = []
    for pid in case.stack.web.children():
        status = Path(f"/proc/{pid}/status").read_text()
        (line,) = [each for each in status.splitlines() if each.startswith("VmHWM")]
        peaks_kb.append(int(line.split()[1]))
    return max(peaks_kb) / 1024
