"""A jumper of whom everything is known, and a caller who speaks HTTP and nothing else."""

import json
import urllib.error
import urllib.request
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from http.client import HTTPMessage
from typing import Any

import numpy as np

from analytics.core import simulator
from analytics.core.simulator import Athlete, SimulatedAttempts

GATES_M = (11.0, 6.0, 1.0)
MINUTES_BETWEEN_ATTEMPTS = 7


@dataclass(frozen=True)
class Answer:
    """A status, a body and headers."""

    status: int
    body: Any
    headers: HTTPMessage

    @property
    def etag(self) -> str:
        return self.headers["ETag"]


@dataclass(frozen=True)
class Caller:
    """Whoever holds a token of one club."""

    base_url: str
    club: str
    token: str

    def get(self, path: str) -> Any:
        return self.ask("GET", path).body

    def post(self, path: str, body: Any, **headers: str) -> Any:
        return self.ask("POST", path, body, **headers).body

    def read_text(self, path: str, accept: str) -> str:
        """Return what is no JSON, as text."""
        return str(self.ask("GET", path, Accept=accept).body)

    def ask(self, method: str, path: str, body: Any = None, **headers: str) -> Answer:
        """Ask, and refuse a refusal: a walk goes on with what it was answered."""
        request = urllib.request.Request(  # noqa: S310  # our own http address
            f"{self.base_url}/api/v1/clubs/{self.club}/{path}",
            method=method,
            data=None if body is None else json.dumps(body).encode(),
            headers={
                "Authorization": f"Bearer {self.token}",
                "Content-Type": "application/json",
                **{name.replace("_", "-"): value for name, value in headers.items()},
            },
        )
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:  # noqa: S310  # the same
                read = answer.read().decode()
                is_json = "json" in (answer.headers["Content-Type"] or "")
                return Answer(answer.status, json.loads(read) if is_json else read, answer.headers)
        except urllib.error.HTTPError as refused:
            with refused:
                raise AssertionError(
                    f"{method} {path}: {refused.code} {refused.read().decode()}"
                ) from refused


@dataclass
class Jumper:
    """An athlete whose habits are known, on one run-up.

    Feet come down where the plan puts them, off by what the simulated athlete does. The mark that
    the coach laid out may be wrong by `Athlete.mark_error_m`; a moved mark takes it along. Every
    toe is measured (`unmeasured_no_jump_share` 0).
    """

    habits: Athlete
    code: str
    approach: str
    planned_toe_m: Sequence[float]
    start_mark_m: float
    seed: int

    def move_mark(self, start_mark_m: float) -> None:
        error_m = self.habits.mark_error_m + start_mark_m - self.start_mark_m
        self.habits = replace(self.habits, mark_error_m=error_m)
        self.start_mark_m = start_mark_m

    def change(self, **habits: Any) -> None:
        self.habits = replace(self.habits, **habits)

    def jump(
        self,
        session: str,
        begin: datetime,
        n: int,
        *,
        finish: str = "jump",
        from_mark_m: float | None = None,
        aim_moves_m: float = 0.0,
    ) -> list[Any]:
        """Return the attempts of one session, as a source would send them.

        Who aims elsewhere moves the whole run-up, the mark included.
        """
        self.seed += 1
        mark_m = self.start_mark_m if from_mark_m is None else from_mark_m
        off_m = self.habits.mark_error_m + mark_m - aim_moves_m - self.start_mark_m
        made = simulator.simulate(
            replace(self.habits, mark_error_m=off_m),
            attempts_by_session=[n],
            rng=np.random.default_rng(self.seed),
        )
        natural_m = simulator.plan_run_up(self.habits).toe_m
        moved_m = np.asarray(self.planned_toe_m) - natural_m + aim_moves_m
        return [
            {
                **_reading(made, moved_m, place),
                "external_id": f"{self.code}-{self.approach}-{self.seed}-{place}",
                "athlete": f"ext:{self.code}",
                "approach": self.approach,
                "session": session,
                "started_at": (
                    begin + timedelta(minutes=MINUTES_BETWEEN_ATTEMPTS * place)
                ).isoformat(),
                "start_mark_m": mark_m,
                "finish": finish,
                **(_result(made, moved_m[0], place) if finish == "jump" else {}),
            }
            for place in range(n)
        ]

    def drill(self, session: str, begin: datetime, n: int, *, to_footfall: int) -> list[Any]:
        """Return rehearsals of the acceleration alone, which end at a footfall."""
        sent = self.jump(session, begin, n, finish="run_through")
        for each in sent:
            toe_m = each["footfalls"]["toe_m"]
            each["footfalls"] = {"toe_m": [None] * to_footfall + toe_m[to_footfall:]}
            each["phases"] = ["acceleration"]
            del each["gates"]
        return sent


def _reading(made: SimulatedAttempts, moved_m: Any, i: int) -> dict[str, Any]:
    toe_m = made.toe_m[i] + moved_m
    passed_s = np.interp(GATES_M, toe_m, made.touchdown_s[i])
    return {
        "wind_mps": round(float(made.wind_mps[i]), 1),
        "footfalls": {
            "toe_m": toe_m.round(3).tolist(),
            "touchdown_s": made.touchdown_s[i].round(4).tolist(),
            "toe_off_s": made.toe_off_s[i].round(4).tolist(),
        },
        "gates": {"at_m": list(GATES_M), "time_s": passed_s.round(3).tolist()},
    }


def _result(made: SimulatedAttempts, moved_m: float, i: int) -> dict[str, Any]:
    """Return what officials say: the distance from the line, rounded down to the centimetre."""
    board_m = float(made.true_board_m[i] + moved_m)
    if board_m < 0:
        return {"outcome": "no_jump"}
    official_m = np.floor(100 * (made.effective_m[i] - board_m) + 1e-9) / 100
    return {"outcome": "valid", "official_m": f"{official_m:.2f}"}
