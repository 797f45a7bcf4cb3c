"""Run-ups of a simulated athlete, stored through the front door."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from analytics.core import simulator
from analytics.core.simulator import Athlete
from approaches.models import Approach, Plan, Session
from approaches.services import pushing
from tests import factories
from tests.approaches.conftest import Scene

FIRST_DAY = datetime(2026, 3, 2, 15, tzinfo=UTC)
CODE = "LJ-16 measured"


@dataclass
class Season:
    """A run-up of the scene's athlete with a plan of footfalls, phases and a check mark."""

    scene: Scene
    athlete: Athlete
    approach: Approach
    plan: Plan
    sessions: list[Session] = field(default_factory=list)
    readings: list[dict[str, Any]] = field(default_factory=list)

    @property
    def path(self) -> str:
        return f"approaches/{self.approach.id}"

    def add(
        self,
        attempts_by_session: Sequence[int],
        *,
        seed: int,
        kind: str = "training",
        **of_session: Any,
    ) -> list[dict[str, Any]]:
        """Store some more sessions, and return what was sent."""
        made = simulator.simulate(
            self.athlete, attempts_by_session=attempts_by_session, rng=np.random.default_rng(seed)
        )
        begun = len(self.sessions)
        for number in range(len(attempts_by_session)):
            day = FIRST_DAY + timedelta(days=2 * (begun + number))
            self.sessions.append(
                factories.make_session(
                    self.scene.club, held_date=day.date(), kind=kind, **of_session
                )
            )
        sent = [self._reading(made, i, begun) for i in range(made.session.size)]
        self.push(sent)
        self.readings += sent
        return sent

    def push(self, readings: list[dict[str, Any]]) -> None:
        outcome = pushing.record_attempts(
            club=self.scene.club, source_id=self.scene.source.id, rows=factories.rows_of(*readings)
        )
        assert outcome.complete, outcome.rows

    def _reading(self, made: simulator.SimulatedAttempts, i: int, begun: int) -> dict[str, Any]:
        number = begun + int(made.session[i])
        place = int(np.sum(made.session[:i] == made.session[i]))
        started_at = FIRST_DAY + timedelta(days=2 * number, minutes=6 * place)
        unwatched = [None] * (made.toe_m.shape[1] - 3)
        return factories.make_reading(
            self.scene.athlete,
            self.sessions[number],
            approach=CODE,
            started_at=started_at.isoformat(),
            start_mark_m=self.plan.start_mark_m,
            wind_mps=round(float(made.wind_mps[i]), 1),
            outcome="no_jump" if made.no_jump[i] else "valid",
            official_m=None if made.no_jump[i] else f"{made.official_m[i]:.2f}",
            gates=None,
            footfalls={
                "toe_m": _sent(made.toe_m[i], 3),
                "touchdown_s": _sent(made.touchdown_s[i], 4),
                "toe_off_s": _sent(made.toe_off_s[i], 4),
                "contact": ["flat", "flat", "ball", *unwatched],
            },
        )


def make_season(scene: Scene, athlete: Athlete, **of_plan: Any) -> Season:
    """Return a run-up without attempts, its plan made for the athlete's habits."""
    approach = factories.make_approach(scene.athlete, code=CODE, steps=athlete.n_steps)
    toe_m = simulator.plan_run_up(athlete).toe_m.round(2)
    plan = factories.make_plan(
        approach,
        start_mark_m=float(toe_m[-1]),
        check_marks=[{"footfall": 6, "at_m": float(toe_m[6])}],
        transition_footfall=10,
        attack_footfall=6,
        toe_m=toe_m[::-1].tolist(),
        last_contacts=["ball", "flat", "flat"],
        **of_plan,
    )
    return Season(scene, athlete, approach, plan)


def _sent(values: Any, decimals: int) -> list[float | None]:
    return [None if np.isnan(value) else round(float(value), decimals) for value in values]
