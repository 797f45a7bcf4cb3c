"""Long answers over real connections: broken on the way, and as large as a club can grow."""

import http.client
import json
import os
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import psycopg
import pytest

from tests.bench.filling import multiply_attempts
from tests.faults.case import Case
from tests.faults.stack import Stack, wait_until

PATIENCE_SECONDS = 120
PIECE_BYTES = 64 * 1024
MANY = 200_000
# What the allocator may need more at one time than at another; the files are ten times as large.
MOST_GROWTH_MIB = 16.0


def fill(case: Case, attempts: int) -> None:
    """Store one attempt, and copies of it inside the database."""
    code, approach_id = next(iter(case.scene.series.items()))
    pushed = case.client.push([_reading(code, case.scene.sessions[0])])
    assert pushed.body["created"] == 1, pushed
    case.wait_for_figures()
    address = case.stack.servers.database_url("superuser")
    multiply_attempts(address, approach_ids=[approach_id], copies=attempts - 1)


def _reading(athlete_code: str, session_code: str) -> dict[str, object]:
    steps = range(20)
    return {
        "external_id": "first",
        "athlete": f"ext:{athlete_code}",
        "approach": "LJ-16",
        "session": session_code,
        "started_at": "2026-05-02T09:14:07.250+02:00",
        "finish": "jump",
        "footfalls": {
            "toe_m": [round(0.0712 + 2.1033 * step, 4) for step in steps],
            "touchdown_s": [round(5.3121 - 0.2417 * step, 4) for step in steps],
            "toe_off_s": [round(5.4121 - 0.2417 * step, 4) for step in steps],
        },
    }


@contextmanager
def asked(case: Case, accept: str) -> Iterator[http.client.HTTPResponse]:
    """Ask for every attempt, and yield the answer before its content is read."""
    with closing(
        http.client.HTTPConnection("127.0.0.1", case.stack.port, timeout=PATIENCE_SECONDS)
    ) as connection:

        def ask() -> http.client.HTTPResponse:
            connection.request(
                "GET",
                f"/api/v1/clubs/{case.scene.club}/attempts/",
                headers={"Accept": accept, "Authorization": f"Bearer {case.scene.reader_token}"},
            )
            return connection.getresponse()

        answer = ask()
        deadline = time.monotonic() + PATIENCE_SECONDS
        while answer.status == 503 and time.monotonic() < deadline:
            assert json.load(answer)["code"] == "busy"
            time.sleep(0.1)  # sooner than it says, for a test
            answer = ask()
        assert answer.status == 200, answer.read()
        yield answer


def end_readers(stack: Stack) -> int:
    """End the database's sessions that are in the middle of a file, and return how many."""
    with psycopg.connect(stack.servers.database_url("superuser"), autocommit=True) as connection:
        return connection.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE usename = 'penult_app' AND state LIKE 'idle in transaction%'"
        ).rowcount


class TestBrokenOnTheWay:
    def test_is_no_whole_answer_to_the_client(self, case: Case):
        """RFC 9112, 8: a chunked message without its last chunk is incomplete."""
        fill(case, 12_000)  # more than the buffers between server and client hold

        with asked(case, "text/csv") as answer:
            announced = int(answer.headers["Row-Count"])
            received = answer.read(PIECE_BYTES)
            wait_until(lambda: end_readers(case.stack), "the reader's session is there")
            pieces = [received]
            with pytest.raises((http.client.IncompleteRead, ConnectionResetError)):
                pieces += iter(lambda: answer.read(PIECE_BYTES), b"")

        rows = b"".join(pieces).count(b"\r\n") - 1
        assert 0 < rows < announced == 12_000
        case.tell(f"broken off after {rows} of {announced} rows")

    def test_leaves_a_server_that_goes_on(self, case: Case):
        fill(case, 12_000)
        for _ in range(6):  # more than may be sent at once
            with asked(case, "application/x-ndjson") as answer:
                answer.read(PIECE_BYTES)  # and hangs up

        with asked(case, "application/x-ndjson") as answer:
            assert sum(1 for _ in answer) == 12_000


def resident_mib(pid: int) -> float:
    """Return what a process keeps in memory (proc(5), statm)."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


@pytest.mark.slow
class TestManyAttempts:
    @pytest.mark.timeout(900)  # to make them takes longer than to read them
    def test_take_no_more_memory_than_few(self, case: Case):
        fill(case, MANY)
        for accept in ("text/csv", "application/x-ndjson"):
            growth, lines = read_and_weigh(case, accept)

            assert lines == MANY + (accept == "text/csv")
            assert growth <= MOST_GROWTH_MIB


def read_and_weigh(case: Case, accept: str) -> tuple[float, int]:
    """Read every attempt; return by how many MiB a web process grew meanwhile, and the lines."""
    with asked(case, accept) as answer:
        answer.read()  # what a process needs once, it has from here on
    workers = case.stack.web.children()
    before = {pid: resident_mib(pid) for pid in workers}
    greatest = dict(before)
    size, lines, began = 0, 0, time.monotonic()
    with asked(case, accept) as answer:
        assert int(answer.headers["Row-Count"]) == MANY
        for line in answer:
            size += len(line)
            lines += 1
            if lines % 5000 == 0:
                greatest = {pid: max(greatest[pid], resident_mib(pid)) for pid in workers}
    seconds = time.monotonic() - began
    growth = max(greatest[pid] - before[pid] for pid in workers)
    case.tell(
        f"{accept}: {MANY} attempts, {size / 2**20:.0f} MiB in {seconds:.1f} s;"
        f" a web process grew by {growth:.1f} MiB, to {max(greatest.values()):.0f} MiB"
    )
    return growth, lines
