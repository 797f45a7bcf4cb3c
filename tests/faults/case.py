"""What every fault test does before and after its fault: push, wait for figures, judge."""

import math
import random
from dataclasses import dataclass, field
from typing import Any

import psycopg

from tests.faults.client import Client, Load, Readings
from tests.faults.history import Verdict, judge
from tests.faults.scene import Scene
from tests.faults.stack import Stack, wait_until


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

    def tell(self, words: object) -> None:
        self.told.append(str(words))

    def wait_for_figures(self, *, patience_seconds: float = 30.0) -> float:
        """Wait until every series shows all its stored attempts as fresh; return the seconds."""
        counts = self.stored_per_series()

        def all_fresh() -> bool:
            for approach_id, count in counts.items():
                trend = self.client.read_trend(approach_id)
                if trend["stale"] or len(trend["points"]) != count:
                    return False
            return True

        seconds = wait_until(
            all_fresh, "figures are those of the data", patience_seconds=patience_seconds
        )
        self.tell(f"figures complete after {seconds:.1f} s")
        return seconds

    def judge(self) -> Verdict:
        """Compare the history with what is stored and what the figures cover."""
        verdict = judge(
            self.client.history.events(), stored=self.stored(), seen=self.seen_in_figures()
        )
        self.tell(verdict)
        return verdict

    def stored(self) -> list[tuple[str, float | None]]:
        rows = self.query("SELECT external_id, toe_m[1] FROM approaches_attempt WHERE club_id = %s")
        return [(name, None if math.isnan(toe) else toe) for name, toe in rows]

    def stored_per_series(self) -> dict[str, int]:
        rows = self.query(
            "SELECT approach_id, count(*) FROM approaches_attempt WHERE club_id = %s"
            " GROUP BY approach_id"
        )
        return {str(approach_id): count for approach_id, count in rows}

    def seen_in_figures(self) -> list[str]:
        rows = self.query(
            "SELECT a.external_id FROM analytics_seriespoint AS p"
            " JOIN approaches_attempt AS a ON a.club_id = p.club_id AND a.id = p.attempt_id"
            " WHERE p.club_id = %s"
        )
        return [name for (name,) in rows]

    def query(self, statement: str) -> list[tuple[Any, ...]]:
        """Ask the database itself, as owner, about the club of this case."""
        with psycopg.connect(self.stack.servers.database_url("owner")) as connection:
            return connection.execute(statement, [self.scene.club_id]).fetchall()
