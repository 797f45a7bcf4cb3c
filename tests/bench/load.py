"""A steady load of attempts, and an observer who looks when each one can be seen."""

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Protocol

from tests.bench.readings import ATHLETES, Measured, Runs

SENDERS = 4
# So long after the load the observer stops looking.
PATIENCE_SECONDS = 30.0

Send = Callable[[Sequence[Measured]], None]


class Watch(Protocol):
    """Looks from outside at the figures of one athlete's series."""

    def last_seen(self, athlete: int) -> datetime | None:
        """Return when the latest attempt that the figures know was started."""


@dataclass(frozen=True)
class Pace:
    """How much is sent, in what portions, and how often the observer looks."""

    name: str  # part of the attempts' ids, which must not come twice
    seconds: float
    rate: int
    batch: int
    polls: int


@dataclass
class Load:
    """What happened: seconds from the answer of a push until its attempts were seen, and so on."""

    delays_s: list[float] = field(default_factory=list)
    pushes_s: list[float] = field(default_factory=list)
    sent: int = 0
    unseen: int = 0
    sending_s: float = 0.0
    backlog_zero_s: float | None = None  # None: not while anybody looked

    @property
    def attempts_per_s(self) -> float:
        return self.sent / self.sending_s


def run_load(senders: Sequence[Send], watch: Watch, backlog: Callable[[], int], pace: Pace) -> Load:
    """Send at the given pace until the time is over, and wait until everything is seen.

    Each sender has athletes of its own, so that the attempts of one series arrive in order, and
    seeing one means that all before it are seen. An attempt counts as seen when a poll says so:
    the delay is never measured too short, and too long by up to one round of polls. What is not
    seen when patience ends counts with the time that it has waited by then.

    Raises
    ------
    RuntimeError
        A sender failed.
    """
    waiting: dict[int, deque[tuple[datetime, float]]] = {
        athlete: deque() for athlete in range(1, ATHLETES + 1)
    }
    load = Load()
    started = time.perf_counter()
    threads = [_Sender(number, send, pace, waiting, started) for number, send in enumerate(senders)]
    for thread in threads:
        thread.start()
    ended: float | None = None
    looked = 0
    while ended is None or any(waiting.values()) or load.backlog_zero_s is None:
        athlete = looked % ATHLETES + 1
        looked += 1
        _look(watch, athlete, waiting[athlete], load.delays_s)
        if ended is None and not any(thread.is_alive() for thread in threads):
            ended = time.perf_counter()
        if ended is not None and load.backlog_zero_s is None and backlog() == 0:
            load.backlog_zero_s = time.perf_counter() - ended
        if ended is not None and time.perf_counter() > ended + PATIENCE_SECONDS:
            break
        time.sleep(max(0.0, started + looked / pace.polls - time.perf_counter()))
    gave_up = time.perf_counter()
    for unseen in waiting.values():
        load.unseen += len(unseen)
        load.delays_s += [gave_up - answered for _, answered in unseen]
    for thread in threads:
        if thread.error is not None:
            raise RuntimeError("A sender failed.") from thread.error
        load.pushes_s += thread.pushes_s
        load.sent += thread.sent
    load.sending_s = ended - started
    return load


def _look(
    watch: Watch, athlete: int, waiting: deque[tuple[datetime, float]], delays_s: list[float]
) -> None:
    if not waiting:
        return
    seen = watch.last_seen(athlete)
    now = time.perf_counter()
    while seen is not None and waiting and waiting[0][0] <= seen:
        _, answered = waiting.popleft()
        delays_s.append(now - answered)


class _Sender(threading.Thread):
    """Sends one batch after the other, each at its own moment, to athletes of its own."""

    def __init__(
        self,
        number: int,
        send: Send,
        pace: Pace,
        waiting: dict[int, deque[tuple[datetime, float]]],
        started: float,
    ) -> None:
        super().__init__(name=f"sender-{number}", daemon=True)
        self._number, self._send, self._pace = number, send, pace
        self._waiting, self._load_began = waiting, started
        self._runs = Runs(prefix=f"{pace.name}-{number}")
        self._athletes = range(number + 1, ATHLETES + 1, SENDERS)
        self.pushes_s: list[float] = []
        self.sent = 0
        self.error: Exception | None = None

    def run(self) -> None:
        try:
            self._send_all()
        except Exception as error:  # noqa: BLE001  # told to the main thread, which raises it
            self.error = error

    def _send_all(self) -> None:
        period_s = self._pace.batch * SENDERS / self._pace.rate
        due = self._load_began + period_s * self._number / SENDERS
        while due < self._load_began + self._pace.seconds:
            time.sleep(max(0.0, due - time.perf_counter()))
            attempts = self._batch()
            began = time.perf_counter()
            self._send(attempts)
            answered = time.perf_counter()
            self.pushes_s.append(answered - began)
            self.sent += len(attempts)
            for each in attempts:
                self._waiting[each.athlete].append((each.started_at, answered))
            due += period_s

    def _batch(self) -> list[Measured]:
        """Return attempts that were made just now; no two start at the same microsecond."""
        now = datetime.now(UTC)
        return [
            self._runs.one(
                self._athletes[(self.sent + place) % len(self._athletes)],
                now=now + timedelta(microseconds=place),
            )
            for place in range(self._pace.batch)
        ]
