"""A jumper whose every jump a test says."""

from dataclasses import dataclass, field
from datetime import date
from typing import Any

from tests import factories
from tests.api.conftest import World


@dataclass
class ByHand:
    """A jumper with distances and toes that a test says, one session after the other."""

    world: World
    athlete: Any = field(init=False)

    def __post_init__(self) -> None:
        self.athlete = factories.make_athlete(self.world.club)
        self.approach = factories.make_approach(self.athlete)
        factories.make_plan(self.approach)

    def jump(self, day: date, jumps: list[tuple[float | None, float]], **fields: Any) -> Any:
        """Store jumps of a day, each an official distance (None: no jump) and a toe."""
        kind = fields.pop("kind", "training")
        session = factories.make_session(self.world.club, held_date=day, kind=kind)
        for place, (official_m, toe_m) in enumerate(jumps):
            factories.make_attempt(
                self.world.source,
                self.athlete,
                session,
                started_at=f"{day.isoformat()}T10:{place:02}:00+02:00",
                official_m=None if official_m is None else f"{official_m:.2f}",
                outcome="no_jump" if official_m is None else "valid",
                footfalls={"toe_m": [toe_m]},
                **{"gates": None, **fields},
            )
        return session

    def read(self, query: str = "from=2026-03-01&to=2026-06-30") -> dict[str, Any]:
        answer = self.world.as_("admin").get(f"reports/season/athletes/{self.athlete.id}?{query}")
        assert answer.status_code == 200, answer.content
        body: dict[str, Any] = answer.json()
        return body
