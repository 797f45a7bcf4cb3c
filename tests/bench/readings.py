"""Invented attempts, seeded: the same in every run, told to each contestant in its own shape."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

ATHLETES = 12
FOOTFALLS = 20
GATES_AT_M = (31.0, 21.0, 16.0, 11.0, 6.0, 1.0)
SEED = 20260502
FIRST_STARTED_AT = datetime(2026, 5, 2, 8, tzinfo=UTC)


@dataclass(frozen=True)
class Measured:
    """One attempt: whose it is (1 to `ATHLETES`), and what was measured."""

    athlete: int
    external_id: str
    started_at: datetime
    toe_m: list[float]
    touchdown_s: list[float]
    toe_off_s: list[float]
    gate_time_s: list[float]

    def as_reading(self, *, athlete_code: str, session_code: str) -> dict[str, Any]:
        """Return it as a source sends it to Penult."""
        return {
            "external_id": self.external_id,
            "athlete": f"ext:{athlete_code}",
            "approach": "LJ-16",
            "session": session_code,
            "started_at": self.started_at.isoformat(),
            "finish": "jump",
            "start_mark_m": 34.2,
            "wind_mps": 0.5,
            "outcome": "valid",
            "official_m": "6.41",
            "footfalls": {
                "toe_m": self.toe_m,
                "touchdown_s": self.touchdown_s,
                "toe_off_s": self.toe_off_s,
                "contact": ["flat"] * FOOTFALLS,
            },
            "gates": {"at_m": GATES_AT_M, "time_s": self.gate_time_s},
        }

    def as_nested(self) -> dict[str, Any]:
        """Return it as the peer's nested serializer takes it."""
        arrays = zip(self.toe_m, self.touchdown_s, self.toe_off_s, strict=True)
        return {
            "club": 1,
            "source": 1,
            "external_id": self.external_id,
            "athlete": self.athlete,
            "approach": self.athlete,
            "plan": self.athlete,
            "session": 1,
            "started_at": self.started_at.isoformat(),
            "finish": "jump",
            "start_mark_m": 34.2,
            "wind_mps": 0.5,
            "outcome": "valid",
            "official_m": "6.41",
            "footfalls": [
                {
                    "number": number,
                    "toe_m": toe_m,
                    "touchdown_s": touchdown_s,
                    "toe_off_s": toe_off_s,
                    "contact": "flat",
                }
                for number, (toe_m, touchdown_s, toe_off_s) in enumerate(arrays)
            ],
            "gates": [
                {"at_m": at_m, "time_s": time_s}
                for at_m, time_s in zip(GATES_AT_M, self.gate_time_s, strict=True)
            ],
        }


class Runs:
    """Makes attempts one after the other; their ids and moments never come twice."""

    def __init__(self, *, prefix: str = "bench") -> None:
        self._random = np.random.default_rng(SEED)
        self._prefix = prefix
        self._made = 0

    def take(self, count: int, *, now: datetime | None = None) -> list[Measured]:
        """Return the next attempts, of one athlete after the other; a second apart unless `now`."""
        return [
            self.one(number % ATHLETES + 1, now=now)
            for number in range(self._made, self._made + count)
        ]

    def one(self, athlete: int, *, now: datetime | None = None) -> Measured:
        number = self._made
        self._made += 1
        steps_m = self._random.normal(2.1, 0.05, FOOTFALLS - 1)
        toe_m = np.concatenate([[self._random.normal(0.06, 0.08)], steps_m]).cumsum()
        touchdown_s = 5.3 - np.concatenate([[0.0], steps_m / 9.0]).cumsum()
        gate_time_s = [float(np.interp(-at, -toe_m[::-1], touchdown_s[::-1])) for at in GATES_AT_M]
        return Measured(
            athlete=athlete,
            external_id=f"{self._prefix}-{number:08}",
            started_at=now or FIRST_STARTED_AT + timedelta(seconds=number),
            toe_m=toe_m.round(3).tolist(),
            touchdown_s=touchdown_s.round(4).tolist(),
            toe_off_s=(touchdown_s + 0.1).round(4).tolist(),
            gate_time_s=[round(time_s, 4) for time_s in gate_time_s],
        )
