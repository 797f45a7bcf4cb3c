"""A source whose clock is wrong: what it pushes from the future waits, and nothing waits for it."""

from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from approaches.models import QuarantinedRow
from approaches.services import pushing
from approaches.services.recording import RecordOutcome
from common.club_scope import club_scope
from tests.approaches.conftest import Scene
from tests.factories import make_reading, rows_of

NOW = datetime(2026, 5, 2, 7, 30, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _stopped_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timezone, "now", lambda: NOW)


def push(scene: Scene, reading: dict[str, object]) -> RecordOutcome:
    return pushing.record_attempts(
        club=scene.club, source_id=scene.source.id, rows=rows_of(reading)
    )


def reading_at(scene: Scene, moment: datetime) -> dict[str, object]:
    return make_reading(scene.athlete, scene.session, started_at=moment.isoformat())


class TestAnAttemptFromTheFuture:
    def test_is_stored_up_to_a_day_ahead(self, scene: Scene):
        outcome = push(scene, reading_at(scene, NOW + timedelta(days=1)))

        assert outcome.created == 1

    def test_waits_in_quarantine_when_it_is_farther(self, scene: Scene):
        outcome = push(scene, reading_at(scene, NOW + timedelta(days=1, seconds=1)))

        (row,) = outcome.rows
        assert [(fault.pointer, fault.code) for fault in row.faults] == [
            ("/started_at", "started_at_in_future")
        ]
        assert not row.send_again_helps  # the clock is wrong, and so is what it said
        with club_scope(scene.club):
            assert QuarantinedRow.objects.get().code == "started_at_in_future"

    def test_stays_known_however_late_it_is_sent_again(
        self, scene: Scene, monkeypatch: pytest.MonkeyPatch
    ):
        reading = reading_at(scene, NOW + timedelta(hours=23))
        push(scene, reading)
        monkeypatch.setattr(timezone, "now", lambda: NOW + timedelta(days=400))

        outcome = push(scene, reading)

        assert (outcome.known, outcome.complete) == (1, True)
