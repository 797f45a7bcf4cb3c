"""The club that the benchmarks push for, made through Penult's own services."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils import timezone

from analytics.services import refreshing
from approaches.models import Approach, FinishClass, Plan, Session
from approaches.services import batches, pushing, readings
from clubs.models import Club, Role, Source
from tests import factories
from tests.bench.readings import ATHLETES, Measured


@dataclass(frozen=True)
class Scene:
    """A club with a dozen athletes, each with a run-up and a plan, and those who ask and push."""

    club: Club
    source: Source
    session: Session
    approaches: Sequence[Approach]
    plans: Sequence[Plan]
    athlete_codes: Sequence[str]
    device_token: str
    admin_token: str

    @classmethod
    def make(cls) -> "Scene":
        club = factories.make_club(slug="bench")
        source = factories.make_source(club)
        athletes = [factories.make_athlete(club) for _ in range(ATHLETES)]
        approaches = [factories.make_approach(athlete) for athlete in athletes]
        return cls(
            club=club,
            source=source,
            session=factories.make_session(club, held_date=timezone.now().date()),
            approaches=approaches,
            plans=[factories.make_plan(approach) for approach in approaches],
            athlete_codes=[athlete.code for athlete in athletes],
            device_token=factories.make_device_token(club, source=source),
            admin_token=factories.make_person_token(factories.make_member(club, Role.ADMIN)),
        )

    @property
    def path(self) -> str:
        return f"/api/v1/clubs/{self.club.slug}/"

    def body(self, attempts: Sequence[Measured]) -> bytes:
        """Return the attempts as one batch."""
        return json.dumps([self._reading(each) for each in attempts]).encode()

    def body_of_one(self, attempt: Measured) -> bytes:
        """Return an attempt as it is pushed by itself."""
        return json.dumps(self._reading(attempt)).encode()

    def _reading(self, attempt: Measured) -> dict[str, Any]:
        return attempt.as_reading(
            athlete_code=self.athlete_codes[attempt.athlete - 1], session_code=self.session.code
        )

    def store(self, attempts: Sequence[Measured]) -> None:
        """Push the attempts in this process, all of which must be stored."""
        outcome = pushing.record_attempts(
            club=self.club,
            source_id=self.source.id,
            rows=batches.read_json_batch(self.body(attempts), readings.ATTEMPTS),
        )
        if outcome.created != len(attempts):
            raise RuntimeError(f"Not all was stored: {outcome}")

    def refresh(self, approach: Approach, **options: Any) -> bool:
        """Bring the figures of an approach's jumps up to date in this process."""
        return refreshing.refresh_series(
            club_id=self.club.id,
            approach_id=approach.id,
            finish_class=FinishClass.JUMP.value,
            **options,
        )
