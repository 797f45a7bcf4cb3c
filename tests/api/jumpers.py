"""An athlete whose attempts land where a test says, and a coach who decides on advice."""

from datetime import UTC, datetime, timedelta
from typing import Any

from django.utils import timezone

from approaches.services import pushing
from tests import factories
from tests.api.conftest import World

# Board errors of two sessions, about 0.12 m short of the aim of 0.06 m.
SHORT = [0.10, 0.14, 0.11, 0.13, 0.12, 0.12, 0.09, 0.15, 0.10, 0.14]
STEADY = [each - 0.11 for each in SHORT]
AIM_M, STEP_M, STEPS = 0.06, 2.1, 16
DAY = datetime(2026, 5, 2, 9, tzinfo=UTC)
DAYS_LATER = timedelta(days=3)


class Jumper:
    """The world's athlete, whose attempts land where a test says."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.admin = world.as_("admin")
        self.path = f"approaches/{world.approach.id}/"
        self.advice = self.path + "advice/"

    def jump(
        self,
        errors_m: list[float],
        *,
        start_mark_m: float | None = 34.20,
        begin: datetime = DAY,
        footfalls: tuple[int, ...] = (0,),
    ) -> None:
        """Store attempts in two sessions; each of the footfalls has the error."""
        sessions = [factories.make_session(self.world.club) for _ in range(2)]
        readings = []
        for place, error_m in enumerate(errors_m):
            toe_m: list[float | None] = [None] * (max(footfalls) + 1)
            for footfall in footfalls:
                toe_m[footfall] = round(AIM_M + STEP_M * footfall + error_m, 3)
            readings.append(
                factories.make_reading(
                    self.world.athlete,
                    sessions[2 * place // len(errors_m)],
                    started_at=(begin + timedelta(minutes=6 * place)).isoformat(),
                    start_mark_m=start_mark_m,
                    wind_mps=None,
                    official_m=None,
                    gates=None,
                    outcome="not_judged" if (toe_m[0] or 0) >= 0 else "no_jump",
                    footfalls={"toe_m": toe_m},
                )
            )
        outcome = pushing.record_attempts(
            club=self.world.club,
            source_id=self.world.source.id,
            rows=factories.rows_of(*readings),
        )
        assert outcome.complete, outcome.rows

    def jump_later(self, errors_m: list[float], *, start_mark_m: float | None) -> None:
        """Store attempts that start after this moment."""
        self.jump(errors_m, start_mark_m=start_mark_m, begin=timezone.now() + timedelta(minutes=1))

    def read(self, what: str = "mark-advice") -> dict[str, Any]:
        answer: dict[str, Any] = self.admin.get(f"{self.path}{what}").json()
        return answer

    def seen(self, **fields: Any) -> dict[str, Any]:
        """Return the advice of now, as a coach sends it back with a decision."""
        asked = self.read()
        return {
            "kind": "mark",
            "through_attempt": asked["through_attempt"],
            "answer": asked["advice"]["answer"],
            "start_mark_m": asked["advice"]["start_mark_m"],
            "decision": "followed",
            **fields,
        }

    def decide(self, *, if_match: str | None = None, **fields: Any) -> Any:
        headers = {} if if_match is None else {"if_match": if_match}
        return self.admin.post(self.advice, self.seen(**fields), **headers)

    def latest(self) -> dict[str, Any]:
        listed: dict[str, Any] = self.admin.get(self.advice).json()["results"][0]
        return listed


DECLINED = {"decision": "declined", "reason": "The runway was wet."}
