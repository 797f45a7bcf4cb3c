"""A series with a season of attempts, pushed through the front door."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from analytics.models import Alert, SeriesPoint, SeriesState, SessionPoint
from analytics.services import alerting, refreshing
from approaches.models import Session
from approaches.services import pushing
from common.club_scope import club_scope
from tests.approaches.conftest import Scene, make_scene
from tests.factories import make_reading, make_session, rows_of

SEASON_START = datetime(2026, 3, 2, 15, tzinfo=UTC)
LATER = datetime(2027, 1, 1, tzinfo=UTC)


@dataclass
class Season:
    """One athlete's jumps: `sessions` afternoons, two days apart, `per_session` jumps each."""

    scene: Scene
    readings: list[dict[str, Any]] = field(default_factory=list)
    sessions: list[Session] = field(default_factory=list)

    def add_session(self, toes_m: list[float | None], *, outcome: str = "not_judged") -> None:
        number = len(self.sessions)
        day = SEASON_START + timedelta(days=2 * number)
        session = make_session(self.scene.club, held_date=date(2026, 3, 2) + timedelta(2 * number))
        self.sessions.append(session)
        for place, toe_m in enumerate(toes_m):
            self.readings.append(
                make_reading(
                    self.scene.athlete,
                    session,
                    started_at=(day + timedelta(minutes=6 * place)).isoformat(),
                    outcome="no_jump" if toe_m is None or toe_m < 0 else outcome,
                    official_m=None,
                    **run_up_of(toe_m, number, place),
                )
            )

    def push(self, readings: list[dict[str, Any]] | None = None) -> None:
        outcome = pushing.record_attempts(
            club=self.scene.club,
            source_id=self.scene.source.id,
            rows=rows_of(*(self.readings if readings is None else readings)),
        )
        assert outcome.complete, outcome.rows

    def refresh(self, **options: Any) -> bool:
        return refreshing.refresh_series(
            club_id=self.scene.club.id,
            **{
                "approach_id": self.scene.approach.id,
                "now": LATER,
                "finish_class": "jump",
                **options,
            },
        )

    def stored(self) -> dict[str, Any]:
        """Return every figure of the series, without ids and moments of computing."""
        with club_scope(self.scene.club):
            return {
                "states": _values(SeriesState.objects.order_by("approach_id", "finish_class")),
                "points": _values(
                    SeriesPoint.objects.order_by("finish_class", "started_at", "attempt_id")
                ),
                "sessions": _values(
                    SessionPoint.objects.order_by("finish_class", "first_started_at", "session")
                ),
                "alerts": _values(
                    Alert.objects.exclude(closed_because__in=alerting.WITHOUT_GROUND).order_by(
                        "finish_class", "opened_at", "kind"
                    )
                ),
            }


def run_up_of(toe_m: float | None, number: int, place: int) -> dict[str, Any]:
    """Return the last footfalls and gates of an attempt: uneven steps, now and then a gap."""
    off = 0.01 * ((7 * number + 3 * place) % 11 - 5)
    last = toe_m or 0
    toes = [round(2.2 + last + off, 3), round(4.4 + 2 * last - 2 * off, 3)]
    toes += [round(toes[1] + 2.1 + off, 3)] * (place != 3)
    at_m = [15, 10, 5, 0] if place == 1 else [16, 11, 6, 1]
    return {
        "footfalls": {
            "toe_m": [toe_m, *toes],
            "touchdown_s": [round(5 - each / 9, 4) for each in [last, *toes]],
        },
        "gates": None
        if place == 2
        else {"at_m": at_m, "time_s": [round(5 - each * (1 + off) / 9, 4) for each in at_m]},
    }


def _values(rows: Any) -> list[dict[str, Any]]:
    passing = {"id", "version", "created_at", "computed_at", "revision"}
    return [
        {name: value for name, value in row.items() if name not in passing} for row in rows.values()
    ]


@pytest.fixture
def season(db: None) -> Season:
    return Season(make_scene())


def draw(seed: int, sessions: int, *, per_session: int = 5, sd: float = 0.08, mean: float = 0.10):
    """Return toes of some sessions, a few of them unmeasured no jumps."""
    rng = np.random.default_rng(seed)
    toes = rng.normal(mean, sd, (sessions, per_session)).round(3)
    return [
        [None if toe < 0 and index % 2 else float(toe) for index, toe in enumerate(row)]
        for row in toes
    ]
