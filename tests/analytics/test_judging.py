"""Sessions are judged once they are over, and again when the past changes."""

from datetime import timedelta
from typing import Any

import pytest

from analytics.models import Alert, SeriesPoint, SeriesState, SessionPoint
from analytics.services import alerting
from approaches.models import Attempt
from approaches.services import records, storing
from common.club_scope import club_scope
from tests.analytics.conftest import LATER, SEASON_START, Season, draw


class TestJudging:
    def test_a_session_is_judged_an_hour_after_its_last_attempt(self, season: Season):
        season.add_session([0.1] * 5)
        season.push()
        last = SEASON_START + timedelta(minutes=24)

        season.refresh(now=last + timedelta(minutes=59))
        with club_scope(season.scene.club):
            assert SessionPoint.objects.count() == 0
            assert SeriesState.objects.get().judge_due_at == last + timedelta(hours=1)
        season.refresh(now=last + timedelta(hours=1))

        with club_scope(season.scene.club):
            assert SessionPoint.objects.count() == 1
            assert SeriesState.objects.get().judge_due_at is None

    def test_a_wrong_mark_opens_a_level_alert_and_a_new_plan_closes_it(self, season: Season):
        for toes in draw(5, 5, mean=0.06, sd=0.05):
            season.add_session(toes)
        for toes in draw(6, 6, mean=0.26, sd=0.05):
            season.add_session(toes)
        season.push()
        season.refresh()
        with club_scope(season.scene.club):
            (alert,) = Alert.objects.filter(kind="level")
        assert alert.closed_at is None
        assert alert.evidence["side"] == "short"
        assert alert.evidence["level_m"] > 0.03

        records.add_plan(
            club=season.scene.club,
            approach_id=season.scene.approach.id,
            marks=records.Marks(start_mark_m=34.0),
            valid_from=SEASON_START + timedelta(days=2 * 11 - 1),
        )
        for toes in draw(7, 6, mean=0.06, sd=0.05):
            season.add_session(toes)
        season.push(season.readings[-30:])
        season.refresh()

        with club_scope(season.scene.club):
            (alert,) = Alert.objects.filter(kind="level")
        assert alert.closed_because == "new_plan"
        with club_scope(season.scene.club):
            latest = SeriesPoint.objects.order_by("-started_at").first()
            assert latest is not None
            assert (latest.plan_revision, latest.n) == (2, 20)

    def test_an_alert_without_ground_is_closed_when_the_past_changes(self, season: Season):
        for toes in draw(5, 5, mean=0.06, sd=0.05):
            season.add_session(toes)
        for toes in draw(6, 6, mean=0.30, sd=0.05):
            season.add_session(toes)
        season.push()
        season.refresh()
        with club_scope(season.scene.club):
            assert Alert.objects.filter(kind="level", closed_at=None).exists()
            late = Attempt.objects.filter(started_at__gte=SEASON_START + timedelta(days=10))
            first = late.order_by("started_at")[0].started_at
            late.update(voided_at=LATER)
            storing.mark_changed(
                club=season.scene.club,
                first_changed={(season.scene.approach.id, "jump"): first},
            )

        season.refresh()

        with club_scope(season.scene.club):
            (alert,) = Alert.objects.filter(kind="level")
        assert alert.closed_because == "figures_changed"

    def test_a_late_attempt_of_the_same_session_makes_no_second_alert(self, season: Season):
        for toes in draw(5, 5, mean=0.06, sd=0.05):
            season.add_session(toes)
        for toes in draw(6, 6, mean=0.30, sd=0.05):
            season.add_session(toes)
        held_back = [
            place
            for place, reading in enumerate(season.readings)
            if place % 5 == 4  # the last of each session
        ]
        season.push([each for i, each in enumerate(season.readings) if i not in held_back])
        season.refresh()
        with club_scope(season.scene.club):
            opened = Alert.objects.get(kind="level")
            Alert.objects.update(acknowledged_at=LATER)

        season.push([season.readings[place] for place in held_back])
        season.refresh()

        with club_scope(season.scene.club):
            alert = Alert.objects.get(kind="level")
        assert (alert.id, alert.acknowledged_at) == (opened.id, LATER)
        assert alert.opened_at == opened.opened_at + timedelta(minutes=6)

    def test_what_a_coach_does_while_an_alert_is_judged_again_is_kept(
        self, season: Season, monkeypatch: pytest.MonkeyPatch
    ):
        """Judging has read the alert before the coach wrote it, and writes it afterwards."""
        for toes in draw(5, 5, mean=0.06, sd=0.05):
            season.add_session(toes)
        for toes in draw(6, 6, mean=0.30, sd=0.05):
            season.add_session(toes)
        season.push([each for i, each in enumerate(season.readings) if i % 5 != 4])
        season.refresh()
        with club_scope(season.scene.club):
            before = Alert.objects.get(kind="level")
        list_redone = alerting._list_redone

        def acknowledge_meanwhile(*read: Any) -> Any:
            found = list_redone(*read)
            Alert.objects.update(acknowledged_at=LATER)
            return found

        monkeypatch.setattr(alerting, "_list_redone", acknowledge_meanwhile)
        season.push()
        season.refresh()

        with club_scope(season.scene.club):
            (alert,) = Alert.objects.filter(kind="level")
        assert alert.evidence != before.evidence  # it was written
        assert (alert.id, alert.acknowledged_at) == (before.id, LATER)

    def test_a_settled_improver_is_told_as_progress(self, season: Season):
        for toes in draw(8, 6, mean=0.35, sd=0.12):
            season.add_session(toes)
        for toes in draw(9, 6, mean=0.35, sd=0.03):
            season.add_session(toes)
        season.push()
        season.refresh()

        with club_scope(season.scene.club):
            alert = Alert.objects.get(kind="progress")
        assert alert.evidence["value"] >= 0.95
        assert alert.evidence["ratio"] < 0.6

    def test_many_no_jumps_open_an_alert(self, season: Season):
        for _ in range(4):
            season.add_session([None, -0.05, 0.04, None, -0.02])
        season.push()
        season.refresh()

        with club_scope(season.scene.club):
            alert = Alert.objects.get(kind="no_jump_share")
        assert alert.evidence["n_no_jumps"] / alert.evidence["n"] == pytest.approx(0.8)
