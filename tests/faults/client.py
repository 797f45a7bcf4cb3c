"""A club's timing script as it should be: it sends again, with the same ids, until it is answered.

Everything that it asks and sees goes into the history.
"""

import itertools
import json
import random
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.client import HTTPException
from types import TracebackType
from typing import Any, Self

from tests.faults.history import History
from tests.faults.scene import Scene

Row = dict[str, Any]
FIRST_START = datetime(2026, 5, 2, 8, 0, tzinfo=UTC)
ROWS_PER_SESSION = 40
ANSWER_PATIENCE_SECONDS = 30.0


class NoAnswerError(Exception):
    """No answer came: the connection was refused, or broke when nobody knows what was stored."""

    def __init__(self, error: Exception) -> None:
        reason = error.reason if isinstance(error, urllib.error.URLError) else error
        super().__init__(type(reason).__name__)
        self.was_accepted = not isinstance(reason, ConnectionRefusedError)


@dataclass(frozen=True)
class Answer:
    status: int
    body: dict[str, Any]


@dataclass
class Client:
    """HTTP with the tokens of one scene."""

    base_url: str
    scene: Scene
    history: History

    def push(self, rows: Sequence[Row], *, query: str = "") -> Answer:
        """Push a batch once, and note what was asked and what came back.

        Raises
        ------
        NoAnswerError
            The connection broke before an answer came.
        """
        number = self.history.begin(
            {row["external_id"]: toe_of(row) for row in rows},
            series=[self.scene.series[row["athlete"].removeprefix("ext:")] for row in rows],
        )
        try:
            answer = self._send(f"attempts/batch/{query}", self.scene.device_token, rows)
        except NoAnswerError as error:
            self.history.failed(number, error=str(error), was_accepted=error.was_accepted)
            raise
        self.history.answered(
            number,
            status=answer.status,
            counts={name: answer.body.get(name, 0) for name in ("created", "known")},
        )
        return answer

    def push_until_answered(self, rows: Sequence[Row], *, patience_seconds: float = 60.0) -> int:
        """Push the same rows until they are acknowledged; return how often it took."""
        deadline = time.monotonic() + patience_seconds
        for tries in itertools.count(1):
            try:
                if self.push(rows).status == 200:
                    return tries
            except NoAnswerError:
                pass  # the history has it; the next round sends the same ids
            if time.monotonic() > deadline:
                raise AssertionError(f"No acknowledgement within {patience_seconds:.0f} s.")
            time.sleep(0.1)
        raise AssertionError("the loop ends by its own")

    def read_trend(self, approach_id: str) -> dict[str, Any]:
        """Read a series' trend as a coach would, and note how fresh it says to be."""
        asked_at = time.monotonic()
        answer = self._send(f"approaches/{approach_id}/trend", self.scene.reader_token)
        assert answer.status == 200, answer
        self.history.read(
            series=approach_id,
            asked_at=asked_at,
            n=answer.body["n"],
            stale=answer.body["stale"],
        )
        return answer.body

    def read(self, path: str) -> dict[str, Any]:
        """Read what is not a figure, and so no part of the history."""
        answer = self._send(path, self.scene.reader_token)
        assert answer.status == 200, answer
        return answer.body

    def ask(self, path: str, body: dict[str, Any]) -> Answer:
        """Ask for work as a coach would; sent again it is the same work."""
        return self._send(path, self.scene.reader_token, body)

    def call_off(self, path: str) -> None:
        """Call work off as a coach would."""
        answer = self._send(path, self.scene.reader_token, method="DELETE")
        assert answer.status == 204, answer

    def _send(
        self, path: str, token: str, body: Any = None, *, method: str | None = None
    ) -> Answer:
        request = urllib.request.Request(  # noqa: S310  # our own http address
            f"{self.base_url}/api/v1/clubs/{self.scene.club}/{path}",
            method=method,
            data=None if body is None else json.dumps(body).encode(),
            headers={"Authorization": f"Bearer {token}", "Content-Type": "application/json"},
        )
        try:
            with urllib.request.urlopen(  # noqa: S310  # the same
                request, timeout=ANSWER_PATIENCE_SECONDS
            ) as answer:
                return Answer(answer.status, json.loads(answer.read() or b"{}"))
        except urllib.error.HTTPError as error:
            with error:
                return Answer(error.code, json.loads(error.read() or b"{}"))
        except (OSError, HTTPException, json.JSONDecodeError) as error:
            raise NoAnswerError(error) from error


def toe_of(row: Row) -> float | None:
    toe: float | None = row["footfalls"]["toe_m"][0]
    return toe


class Readings:
    """Attempts of a scene's athletes in turn, each with an id, a moment and a toe of its own.

    After a few sessions toes land farther from the line, so that charts have something to say.
    """

    STEADY_SESSIONS = 3

    def __init__(self, scene: Scene, rng: random.Random, *, tag: str = "run") -> None:
        self._scene = scene
        self._rng = rng
        self._tag = tag
        self._numbers = itertools.count()
        self._lock = threading.Lock()

    def take(self, count: int) -> list[Row]:
        with self._lock:
            return self._take(count)

    def _take(self, count: int) -> list[Row]:
        return [self._make(next(self._numbers)) for _ in range(count)]

    def _make(self, number: int) -> Row:
        codes = list(self._scene.series)
        day = min(number // ROWS_PER_SESSION, len(self._scene.sessions) - 1)
        is_no_jump = self._rng.random() < 0.1
        aimed_m = 0.08 if day < self.STEADY_SESSIONS else 0.30
        toe_m = None if is_no_jump else round(max(self._rng.gauss(aimed_m, 0.05), 0.0), 4)
        started_at = FIRST_START + timedelta(days=day, seconds=5 * number)
        return {
            "external_id": f"{self._tag}-{number:06}",
            "athlete": f"ext:{codes[number % len(codes)]}",
            "approach": "LJ-16",
            "session": self._scene.sessions[day],
            "started_at": started_at.isoformat(),
            "finish": "jump",
            "start_mark_m": 34.2,
            "outcome": "no_jump" if is_no_jump else "valid",
            "footfalls": {
                "toe_m": [toe_m, 2.21, 4.58],
                "touchdown_s": [5.312, 5.080, 4.826],
                "toe_off_s": [5.428, 5.181, 4.935],
            },
        }


class DisorderedReadings(Readings):
    """The same attempts in a random order, now and then some that were sent before."""

    AHEAD = 200
    SENT_BEFORE_SHARE = 0.2

    def __init__(self, scene: Scene, rng: random.Random) -> None:
        super().__init__(scene, rng)
        self._waiting: list[Row] = []
        self._sent: list[Row] = []

    def _take(self, count: int) -> list[Row]:
        if len(self._waiting) < self.AHEAD:
            self._waiting += super()._take(self.AHEAD)
            self._rng.shuffle(self._waiting)
        again = min(
            sum(self._rng.random() < self.SENT_BEFORE_SHARE for _ in range(count)),
            len(self._sent),
        )
        new = [self._waiting.pop() for _ in range(count - again)]
        batch = new + self._rng.sample(self._sent, again)
        self._sent += new
        return batch


@dataclass
class Load:
    """Threads that push small batches one after the other for as long as the block lasts."""

    client: Client
    readings: Readings
    threads: int = 2
    rows_per_push: int = 4
    pause_seconds: float = 0.02
    send_again: bool = True
    timings: list[tuple[float, float]] = field(default_factory=list)
    _stop: threading.Event = field(default_factory=threading.Event)
    _running: list[threading.Thread] = field(default_factory=list)
    _broken: list[BaseException] = field(default_factory=list)

    def seconds_between(self, begin: float, end: float) -> list[float]:
        """Return how long the pushes took that were begun in that stretch of time."""
        return [seconds for begun, seconds in self.timings if begin <= begun < end]

    def __enter__(self) -> Self:
        self._running = [threading.Thread(target=self._push_on) for _ in range(self.threads)]
        for thread in self._running:
            thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stop.set()
        for thread in self._running:
            thread.join()
        if error is None and self._broken:
            raise self._broken[0]

    def _push_on(self) -> None:
        try:
            while not self._stop.is_set():
                rows = self.readings.take(self.rows_per_push)
                begun = time.monotonic()
                if self.send_again:
                    self.client.push_until_answered(rows)
                else:
                    self.client.push(rows)
                self.timings.append((begun, time.monotonic() - begun))
                self._stop.wait(self.pause_seconds)
        except BaseException as error:  # noqa: BLE001  # told to the test when the block ends
            self._broken.append(error)
