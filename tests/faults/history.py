"""What clients asked, were answered and saw, written down as it happens and judged afterwards.

The judge knows nothing of how Penult works. It reads the history, the rows that are stored in the
end and the figures that were shown, and says what was lost, doubled, made up, changed, stale or
never seen.
"""

import json
import threading
import time
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

Event = dict[str, Any]


class History:
    """A file of JSON lines that many threads may write to."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.Lock()
        self._pushes = 0

    def begin(self, attempts: Mapping[str, float | None], *, series: Iterable[str]) -> int:
        """Note that attempts, by external id with their first toe, are asked to be stored."""
        with self._lock:
            self._pushes += 1
            number = self._pushes
        self._write("asked", push=number, attempts=dict(attempts), series=list(series))
        return number

    def answered(self, push: int, *, status: int, counts: Mapping[str, int]) -> None:
        self._write("answered", push=push, status=status, counts=dict(counts))

    def failed(self, push: int, *, error: str, was_accepted: bool) -> None:
        """Note that no answer came; the connection was refused, or accepted and then broke."""
        self._write("failed", push=push, error=error, was_accepted=was_accepted)

    def read(self, *, series: str, asked_at: float, n: int, stale: bool) -> None:
        """Note which figures a reader, who asked at that moment, was shown."""
        self._write("read", series=series, asked_at=asked_at, n=n, stale=stale)

    def events(self) -> list[Event]:
        with self._lock:
            return [json.loads(line) for line in self.path.read_text().splitlines()]

    def _write(self, event: str, **fields: Any) -> None:
        # One clock for all: time.monotonic is the same for every thread of this machine.
        line = json.dumps({"event": event, "at": time.monotonic(), **fields})
        with self._lock, self.path.open("a") as file:
            file.write(line + "\n")


@dataclass(frozen=True)
class Verdict:
    """What the history shows; everything but the counts should be empty."""

    asked: int
    acknowledged: int
    stored: int
    refused_pushes: int
    cut_pushes: int
    stored_unanswered: int  # pushes whose rows were stored although the answer never came
    unexpected_statuses: Counter[int] = field(default_factory=Counter)
    lost: frozenset[str] = frozenset()
    doubled: frozenset[str] = frozenset()
    made_up: frozenset[str] = frozenset()
    changed: frozenset[str] = frozenset()
    miscounted_pushes: tuple[int, ...] = ()
    stale: tuple[Event, ...] = ()
    never_seen: frozenset[str] = frozenset()

    @property
    def failed_pushes(self) -> int:
        """Return how many pushes got no answer, for one reason or the other."""
        return self.refused_pushes + self.cut_pushes

    @property
    def wrong(self) -> dict[str, Any]:
        """Return what must not be, by name; empty when all is well."""
        found = {
            "unexpected statuses": dict(self.unexpected_statuses),
            "lost": sorted(self.lost),
            "doubled": sorted(self.doubled),
            "made up": sorted(self.made_up),
            "changed": sorted(self.changed),
            "miscounted pushes": list(self.miscounted_pushes),
            "stale figures shown as fresh": list(self.stale),
            "never seen in the figures": sorted(self.never_seen),
        }
        return {name: what for name, what in found.items() if what}

    def __str__(self) -> str:
        return (
            f"{self.asked} attempts asked, {self.acknowledged} acknowledged, {self.stored} stored, "
            f"{self.refused_pushes} connections refused, {self.cut_pushes} cut, "
            f"{self.stored_unanswered} of these stored"
        )


def judge(
    events: Iterable[Event],
    *,
    stored: Iterable[tuple[str, float | None]],
    seen: Iterable[str] | None = None,
) -> Verdict:
    """Compare a history with the rows stored in the end and the attempts that the figures cover.

    An attempt is acknowledged when a push that held it was answered with 200. `stored` holds a
    pair of external id and first toe for each row; `seen` the ids behind the final figures, or
    None where figures are not the question.
    """
    asked: dict[int, Event] = {}
    toes: dict[str, float | None] = {}
    acknowledged_at: dict[str, float] = {}
    statuses: Counter[int] = Counter()
    miscounted, failures, reads = [], Counter[bool](), []
    unanswered: set[str] = set()
    stored_unanswered = 0
    for event in events:
        if event["event"] == "asked":
            asked[event["push"]] = event
            toes.update(event["attempts"])
        elif event["event"] == "failed":
            failures[event["was_accepted"]] += 1
            unanswered.update(asked[event["push"]]["attempts"])
        elif event["event"] == "read":
            reads.append(event)
        elif event["status"] != 200:
            statuses[event["status"]] += 1
        else:
            ids = asked[event["push"]]["attempts"]
            counts = event["counts"]
            if counts["created"] + counts["known"] != len(ids):
                miscounted.append(event["push"])
            if counts["known"] and unanswered.intersection(ids):
                stored_unanswered += 1
            unanswered.difference_update(ids)
            for external_id in ids:
                acknowledged_at.setdefault(external_id, event["at"])
    rows = list(stored)
    times_stored = Counter(external_id for external_id, _ in rows)
    return Verdict(
        asked=len(toes),
        acknowledged=len(acknowledged_at),
        stored=len(rows),
        refused_pushes=failures[False],
        cut_pushes=failures[True],
        stored_unanswered=stored_unanswered,
        unexpected_statuses=statuses,
        lost=frozenset(acknowledged_at.keys() - times_stored.keys()),
        doubled=frozenset(name for name, times in times_stored.items() if times > 1),
        made_up=frozenset(times_stored.keys() - toes.keys()),
        changed=frozenset(name for name, toe in rows if name in toes and toes[name] != toe),
        miscounted_pushes=tuple(miscounted),
        stale=tuple(_stale_reads(reads, asked, acknowledged_at)),
        never_seen=frozenset() if seen is None else frozenset(acknowledged_at.keys() - set(seen)),
    )


def _stale_reads(
    reads: Iterable[Event], asked: Mapping[int, Event], acknowledged_at: Mapping[str, float]
) -> Iterable[Event]:
    """Yield reads that were shown as fresh and lacked what was acknowledged before they began."""
    series_of = {
        external_id: series
        for event in asked.values()
        for external_id, series in zip(event["attempts"], event["series"], strict=True)
    }
    for read in reads:
        due = sum(
            at < read["asked_at"] and series_of[external_id] == read["series"]
            for external_id, at in acknowledged_at.items()
        )
        if not read["stale"] and read["n"] < due:
            yield {**read, "due": due}
