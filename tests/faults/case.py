"""What every fault test does before and after its fault: push, wait for figures, judge."""

import math
import random
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, LiteralString

import psycopg
from celery import Celery

from tests.faults.client import Client, DisorderedReadings, Load, Readings
from tests.faults.history import Verdict, judge
from tests.faults.scene import Scene
from tests.faults.stack import POLL_SECONDS, Stack

# A worker needs so long to start on a busy machine.
START_SECONDS = 15.0

# Table, condition, order. An alert that later data or rules took back is history, no figure: a
# rebuild does not know that it was ever open.
_FIGURES: dict[str, tuple[LiteralString, LiteralString, LiteralString]] = {
    "alerts": (
        "analytics_alert",
        "AND closed_because NOT IN ('figures_changed', 'rules_changed', 'switched_off')",
        "kind, approach_id, opened_at_attempt_id",
    ),
    "points": ("analytics_seriespoint", "", "attempt_id"),
    "sessions": ("analytics_sessionpoint", "", "approach_id, session_id, plan_id"),
    "states": ("analytics_seriesstate", "", "approach_id, finish_class"),
}
_NOT_FIGURES = ("version", "id", "computed_at", "created_at", "revision", "closed_at")


@dataclass
class Case:
    """A stack, a club in it, a client of the club, and what the test has to tell."""

    stack: Stack
    scene: Scene
    client: Client
    rng: random.Random
    told: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.readings = Readings(self.scene, self.rng)

    def load(self, **fields: Any) -> Load:
        return Load(self.client, self.readings, **fields)

    def disordered_load(self, **fields: Any) -> Load:
        return Load(
            self.client, DisorderedReadings(self.scene, self.rng), send_again=False, **fields
        )

    @contextmanager
    def needless_refreshes(self) -> Iterator[Counter[str]]:
        """Ask for refreshes that nobody needs, many a second, for as long as the block lasts."""
        asked: Counter[str] = Counter()
        stop = threading.Event()
        approaches = list(self.scene.series.values())

        def ask_on() -> None:
            with Celery(broker=self.stack.servers.redis_url, set_as_current=False) as broker:
                while not stop.wait(0.02):
                    approach_id = random.choice(approaches)  # noqa: S311  # any of them will do
                    broker.send_task(
                        "analytics.refresh_series",
                        kwargs={
                            "club_id": self.scene.club_id,
                            "approach_id": approach_id,
                            "finish_class": "jump",
                        },
                        queue="refresh",
                    )
                    asked[approach_id] += 1

        thread = threading.Thread(target=ask_on)
        thread.start()
        try:
            yield asked
        finally:
            stop.set()
            thread.join()

    def tell(self, words: object) -> None:
        self.told.append(str(words))

    def wait_for_figures(self, *, patience_seconds: float = 30.0) -> float:
        """Wait until every series shows all its stored attempts as fresh; return the seconds.

        A program that ended by itself meanwhile is started again, gets time for that, and is told
        of: a worker that is at work when the broker goes away may die of it.
        """
        counts = self.stored_per_series()
        begun = time.monotonic()
        while not all(self._is_fresh(approach_id, n) for approach_id, n in counts.items()):
            for name in self.stack.start_what_ended():
                self.tell(f"{name} ended and was started again")
                patience_seconds += START_SECONDS
            if time.monotonic() - begun > patience_seconds:
                raise AssertionError(f"Figures are behind after {patience_seconds:.0f} s.")
            time.sleep(POLL_SECONDS)
        seconds = time.monotonic() - begun
        self.tell(f"figures complete after {seconds:.1f} s")
        return seconds

    def _is_fresh(self, approach_id: str, n: int) -> bool:
        trend = self.client.read_trend(approach_id)
        return trend["n"] == n and not trend["stale"]

    def judge(self) -> Verdict:
        """Compare the history with what is stored and what the figures cover."""
        verdict = judge(
            self.client.history.events(), stored=self.stored(), seen=self.seen_in_figures()
        )
        self.tell(verdict)
        return verdict

    def judge_storage(self) -> Verdict:
        """Compare the history with what is stored, where figures are not the question."""
        verdict = judge(self.client.history.events(), stored=self.stored())
        self.tell(verdict)
        return verdict

    def figures(self) -> dict[str, list[Any]]:
        """Return every figure of the club, without ids, moments of computing and counters."""
        return {
            name: [
                row
                for (row,) in self.query(
                    f"SELECT to_jsonb(t) - %s::text[] FROM {table} AS t WHERE club_id = %s"
                    f" {condition} ORDER BY {order}",
                    list(_NOT_FIGURES),
                )
            ]
            for name, (table, condition, order) in _FIGURES.items()
        }

    def rebuilt_figures(self) -> dict[str, list[Any]]:
        """Throw every figure of the club away, compute all from the attempts, and return them."""
        with psycopg.connect(self.stack.servers.database_url("owner")) as connection:
            for table, _, _ in _FIGURES.values():
                connection.execute(f"DELETE FROM {table} WHERE club_id = %s", [self.scene.club_id])
        self.stack.run(["manage.py", "rebuild_figures", "--club", self.scene.club])
        return self.figures()

    def stored(self) -> list[tuple[str, float | None]]:
        rows = self.query("SELECT external_id, toe_m[1] FROM approaches_attempt WHERE club_id = %s")
        return [(name, None if math.isnan(toe) else toe) for name, toe in rows]

    def stored_per_series(self) -> dict[str, int]:
        rows = self.query(
            "SELECT approach_id, count(*) FROM approaches_attempt WHERE club_id = %s"
            " GROUP BY approach_id"
        )
        return {str(approach_id): count for approach_id, count in rows}

    def refreshes(self) -> int:
        """Return how often a series was brought up to date."""
        ((refreshes,),) = self.query(
            "SELECT coalesce(sum(revision), 0) FROM analytics_seriesstate WHERE club_id = %s"
        )
        return int(refreshes)

    def seen_in_figures(self) -> list[str]:
        rows = self.query(
            "SELECT a.external_id FROM analytics_seriespoint AS p"
            " JOIN approaches_attempt AS a ON a.club_id = p.club_id AND a.id = p.attempt_id"
            " WHERE p.club_id = %s"
        )
        return [name for (name,) in rows]

    def query(self, statement: LiteralString, *values: Any) -> list[tuple[Any, ...]]:
        """Ask the database itself, as owner; the last parameter is the club of this case."""
        with psycopg.connect(self.stack.servers.database_url("owner")) as connection:
            return connection.execute(statement, [*values, self.scene.club_id]).fetchall()
