"""Refused rows are kept for thirty days, and then forgotten."""

from datetime import UTC, datetime, timedelta

import pytest

from approaches import tasks
from approaches.models import QuarantinedRow
from approaches.services import pushing, quarantine
from common.club_scope import club_scope
from tests.approaches.conftest import Scene, make_scene
from tests.factories import make_reading, rows_of


def push_bad_row(scene: Scene, external_id: str) -> None:
    bad = make_reading(scene.athlete, scene.session, external_id=external_id, wind_mps=99)
    pushing.record_attempts(club=scene.club, source_id=scene.source.id, rows=rows_of(bad))


def kept(scene: Scene) -> list[str]:
    with club_scope(scene.club):
        return list(
            QuarantinedRow.objects.order_by("external_id").values_list("external_id", flat=True)
        )


@pytest.fixture
def at(monkeypatch: pytest.MonkeyPatch):
    """Return a function that sets the clock."""

    def set_clock(moment: datetime) -> None:
        monkeypatch.setattr("django.utils.timezone.now", lambda: moment)

    return set_clock


DAY_0 = datetime(2026, 5, 2, 12, tzinfo=UTC)


class TestExpiry:
    def test_comes_after_thirty_days(self, scene: Scene, at):
        at(DAY_0)
        push_bad_row(scene, "first")
        at(DAY_0 + timedelta(days=1))
        push_bad_row(scene, "second")

        at(DAY_0 + timedelta(days=30) - timedelta(seconds=1))
        assert quarantine.forget_expired() == 0
        at(DAY_0 + timedelta(days=30))
        assert quarantine.forget_expired() == 1

        assert kept(scene) == ["second"]

    def test_begins_anew_when_the_same_row_is_refused_again(self, scene: Scene, at):
        at(DAY_0)
        push_bad_row(scene, "stubborn")
        at(DAY_0 + timedelta(days=20))
        push_bad_row(scene, "stubborn")

        at(DAY_0 + timedelta(days=31))
        quarantine.forget_expired()

        assert kept(scene) == ["stubborn"]

    def test_reaches_every_club(self, scene: Scene, at):
        other = make_scene()
        at(DAY_0)
        push_bad_row(scene, "ours")
        push_bad_row(other, "theirs")

        at(DAY_0 + timedelta(days=31))
        tasks.expire_quarantine()

        assert kept(scene) == kept(other) == []
