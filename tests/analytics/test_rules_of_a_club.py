"""Rules that change: every session is judged by the new ones, as if they had always been so."""

from datetime import timedelta
from typing import Any

import pytest

from analytics.core.alert_settings import COUNTS, Kind
from analytics.models import Alert, SeriesPoint, SeriesState, SessionPoint
from analytics.services import alerting, judging, ruling, sweeping
from approaches.models import PendingRefresh
from clubs.models import AuditEntry, Role
from common import broker
from common.club_scope import club_scope
from common.errors import InvalidInputError, NotFoundError, StaleVersionError
from common.versions import ANY_VERSION, Expected
from tests.analytics.conftest import LATER, Season, draw
from tests.factories import make_caller

OFTEN_BEYOND = [None, -0.05, 0.04, 0.06, 0.09]


@pytest.fixture
def told(season: Season) -> Season:
    """Return a season of 8 sessions with 40 % no jumps, then 6 calm ones, judged by defaults."""
    for _ in range(8):
        season.add_session(OFTEN_BEYOND)
    for toes in draw(4, 6, mean=0.30, sd=0.04):
        season.add_session(toes)
    season.push()
    season.refresh()
    return season


def change(season: Season, kind: str, **changes: Any) -> Any:
    return ruling.change_alert_rule(
        club=season.scene.club, kind=kind, expected=ANY_VERSION, changes=changes
    )


def alerts_of(season: Season, kind: str) -> list[Alert]:
    with club_scope(season.scene.club):
        return list(Alert.objects.filter(kind=kind).order_by("opened_at", "created_at"))


def made_from_nothing(season: Season) -> dict[str, Any]:
    """Throw every figure and alert of the club away, and return what a rebuild makes."""
    with club_scope(season.scene.club):
        for model in (Alert, SessionPoint, SeriesPoint, SeriesState):
            model.objects.all().delete()
    season.refresh(whole=True)
    return season.stored()


class TestOtherThresholds:
    def test_hold_for_the_past_and_end_as_a_rebuild(self, told: Season):
        assert alerts_of(told, "no_jump_share") == []
        change(told, "no_jump_share", thresholds={"no_jump_share_limit": 0.2})

        assert told.refresh() is True

        (alert,) = alerts_of(told, "no_jump_share")
        assert alert.evidence["limit"] == 0.2
        assert (alert.closed_because, alert.opened_at.month) == (alerting.CALM, 3)
        followed = told.stored()
        assert followed == made_from_nothing(told)

    def test_that_take_an_alert_its_ground_close_it_for_that(self, told: Season):
        change(told, "no_jump_share", thresholds={"no_jump_share_limit": 0.2})
        told.refresh()
        change(told, "no_jump_share", thresholds={"no_jump_share_limit": None})

        told.refresh()

        (alert,) = alerts_of(told, "no_jump_share")
        assert alert.closed_because == alerting.RULES_CHANGED
        assert told.stored() == made_from_nothing(told)

    def test_leave_the_figures_of_attempts_alone(self, told: Season):
        with club_scope(told.scene.club):
            before = list(SeriesPoint.objects.order_by("id").values_list("id", flat=True))
        change(told, "spread", thresholds={"calm_sessions": 4})

        told.refresh()

        with club_scope(told.scene.club):
            after = list(SeriesPoint.objects.order_by("id").values_list("id", flat=True))
        assert after == before

    def test_say_what_is_not_known_of_false_alarms(self, season: Season):
        for toes in draw(8, 6, mean=0.35, sd=0.12):
            season.add_session(toes)
        for toes in draw(9, 6, mean=0.35, sd=0.03):
            season.add_session(toes)
        season.push()
        change(season, "progress", thresholds={"progress_sessions": 1})

        season.refresh()

        (alert,) = alerts_of(season, "progress")
        assert alert.evidence["n_sessions_running"] == 1
        assert alert.evidence["false_alarms_per_session"] is None

    def test_are_judged_again_only_once(self, told: Season):
        change(told, "level", thresholds={"calm_sessions": 3})

        assert [told.refresh(), told.refresh()] == [True, False]


class TestARuleThatIsOff:
    @pytest.fixture
    def open_alert(self, season: Season) -> Alert:
        for _ in range(6):
            season.add_session([None, -0.05, 0.04, None, -0.02])
        season.push()
        season.refresh()
        (alert,) = alerts_of(season, "no_jump_share")
        assert alert.closed_at is None
        return alert

    def test_closes_what_is_open_and_opens_nothing(self, season: Season, open_alert: Alert):
        change(season, "no_jump_share", is_active=False)

        season.refresh()

        (alert,) = alerts_of(season, "no_jump_share")
        assert (alert.closed_because, alert.closed_at) == (alerting.SWITCHED_OFF, LATER)
        season.refresh(whole=True)
        assert alerts_of(season, "no_jump_share")[0].closed_at == LATER
        assert season.stored() == made_from_nothing(season)

    def test_brings_the_same_alert_back_when_it_is_on_again(
        self, season: Season, open_alert: Alert
    ):
        with club_scope(season.scene.club):
            Alert.objects.update(acknowledged_at=LATER)
        never_off = season.stored()
        change(season, "no_jump_share", is_active=False)
        season.refresh()
        change(season, "no_jump_share", is_active=True)

        season.refresh()

        (alert,) = alerts_of(season, "no_jump_share")
        assert (alert.id, alert.closed_at) == (open_alert.id, None)
        assert alert.acknowledged_at == LATER
        back = season.stored()
        for stored in (never_off, back):
            stored["states"][0].pop("rules_stamp")
        assert back == never_off

    def test_leaves_what_was_closed_before_as_it_was_told(self, told: Season):
        change(told, "no_jump_share", thresholds={"no_jump_share_limit": 0.2})
        told.refresh()
        (before,) = alerts_of(told, "no_jump_share")
        change(told, "no_jump_share", is_active=False)

        told.refresh(now=LATER + timedelta(days=1))

        (after,) = alerts_of(told, "no_jump_share")
        assert (after.closed_because, after.closed_at) == (alerting.CALM, before.closed_at)


@pytest.mark.django_db(transaction=True)
class TestTheSweep:
    def test_finds_every_series_that_was_judged_by_other_rules(
        self, told: Season, monkeypatch: pytest.MonkeyPatch
    ):
        told.push([told.readings[0] | {"external_id": "other", "finish": "run_through"}])
        told.refresh(finish_class="run_through")
        monkeypatch.setattr(broker, "note_sweep", lambda: None)
        change(told, "no_jump_share", thresholds={"no_jump_share_limit": 0.2})

        found = {finish_class for _, _, finish_class in sweeping.list_due_series()}
        sweeping.sweep_refreshes()

        assert found == {"jump", "run_through"}
        assert sweeping.list_due_series() == []
        assert len(alerts_of(told, "no_jump_share")) == 1

    def test_leaves_to_the_next_round_what_takes_too_long(
        self, told: Season, monkeypatch: pytest.MonkeyPatch
    ):
        told.push([told.readings[0] | {"external_id": "other", "finish": "run_through"}])
        told.refresh(finish_class="run_through")
        monkeypatch.setattr(broker, "note_sweep", lambda: None)
        monkeypatch.setattr(sweeping, "LONGEST_ROUND_S", 0.0)
        change(told, "level", is_active=False)

        first, second = sweeping.list_due_series(), sweeping.sweep_refreshes()

        assert (len(first), second) == (2, 0)
        monkeypatch.setattr(sweeping, "LONGEST_ROUND_S", 10.0)
        assert sweeping.sweep_refreshes() == 2

    def test_takes_series_with_new_attempts_first(self, told: Season):
        told.push([told.readings[0] | {"external_id": "other", "finish": "run_through"}])
        told.refresh(finish_class="run_through")
        told.push([told.readings[1] | {"external_id": "another", "finish": "run_through"}])
        change(told, "level", is_active=False)

        found = [finish_class for _, _, finish_class in sweeping.list_due_series()]

        assert found == ["run_through", "jump"]

    def test_finds_a_series_that_was_judged_while_the_rule_changed(
        self, told: Season, monkeypatch: pytest.MonkeyPatch
    ):
        """The refresh has read the old rules, and ends after the new ones are in force."""
        told.push([told.readings[0] | {"external_id": "late"}])
        rules_of_club = judging.rules_of_club

        def change_meanwhile() -> judging.Rules:
            old = rules_of_club()
            with monkeypatch.context() as once:
                once.setattr(judging, "rules_of_club", rules_of_club)
                change(told, "no_jump_share", thresholds={"no_jump_share_limit": 0.2})
            return old

        with monkeypatch.context() as patched:
            patched.setattr(judging, "rules_of_club", change_meanwhile)
            told.refresh()
        with club_scope(told.scene.club):
            assert not PendingRefresh.objects.exists()
        judged_by_old = alerts_of(told, "no_jump_share")

        found = sweeping.list_due_series()
        told.refresh()

        assert judged_by_old == []
        assert len(found) == 1
        assert len(alerts_of(told, "no_jump_share")) == 1

    def test_asks_nothing_of_a_club_without_rules_of_its_own(self, told: Season):
        assert sweeping.list_due_series() == []


class TestChanging:
    def test_is_in_the_audit_by_names_only(self, season: Season):
        caller = make_caller(season.scene.club, Role.ADMIN)

        ruling.change_alert_rule(
            club=season.scene.club,
            kind="progress",
            expected=Expected(frozenset({0})),
            changes={"is_active": False, "thresholds": {"calm_sessions": 3}},
            caller=caller,
        )

        with club_scope(season.scene.club):
            (entry,) = AuditEntry.objects.filter(action="alert_rule_changed")
        assert entry.field_names == ["is_active", "calm_sessions"]
        assert entry.actor_id == caller.token_id

    def test_to_what_is_so_already_is_none(self, season: Season):
        same = change(season, "level", is_active=True, thresholds={"calm_sessions": None})

        assert same.version == 0
        with club_scope(season.scene.club):
            assert not AuditEntry.objects.filter(action="alert_rule_changed").exists()

    def test_keeps_the_other_thresholds(self, season: Season):
        change(season, "no_jump_share", thresholds={"no_jump_attempts": 12})

        rule = change(season, "no_jump_share", thresholds={"calm_sessions": 3})

        assert rule.own_thresholds == {"no_jump_attempts": 12, "calm_sessions": 3}
        assert rule.thresholds["no_jump_share_limit"] == 0.32
        assert rule.version == 2

    @pytest.mark.parametrize(
        ("kind", "thresholds", "pointer", "code"),
        [
            ("level", {"no_jump_attempts": 12}, "no_jump_attempts", "threshold_of_another_kind"),
            ("level", {"level_limit": 2}, "level_limit", "threshold_of_another_kind"),
            ("level", {"calm_sessions": 2.5}, "calm_sessions", "threshold_out_of_range"),
            ("progress", {"progress_block_attempts": 4}, "progress_block_attempts", ""),
            (
                "progress",
                {"progress_probability": 0.5, "progress_lost_probability": 0.4},
                "progress_probability",
                "",
            ),
            # Of two that do not fit, the one that is bounded by the other is named.
            ("progress", {"progress_probability": 0.7}, "progress_lost_probability", ""),
            ("no_jump_share", {"no_jump_share_limit": float("nan")}, "no_jump_share_limit", ""),
            ("no_jump_share", {"no_jump_attempts": True}, "no_jump_attempts", ""),
        ],
    )
    def test_names_the_field_and_the_rule(
        self, season: Season, kind: str, thresholds: dict[str, Any], pointer: str, code: str
    ):
        with pytest.raises(InvalidInputError) as refused:
            change(season, kind, thresholds=thresholds)

        (fault,) = refused.value.faults
        assert fault.pointer == f"/thresholds/{pointer}"
        assert fault.code == (code or "threshold_out_of_range")

    def test_is_made_from_what_was_read(self, season: Season):
        change(season, "level", is_active=False)

        with pytest.raises(StaleVersionError):
            ruling.change_alert_rule(
                club=season.scene.club,
                kind="level",
                expected=Expected(frozenset({0})),
                changes={"is_active": True},
            )

    def test_needs_a_kind_that_there_is(self, season: Season):
        with pytest.raises(NotFoundError):
            change(season, "speed", is_active=False)

    @pytest.mark.parametrize("kind", Kind)
    def test_takes_the_ends_of_every_range(self, season: Season, kind: Kind):
        held = change(season, kind.value, is_active=True)
        for end in (0, 1):
            own = {name: COUNTS[name][end] for name in held.defaults if name in COUNTS}

            assert change(season, kind.value, thresholds=own).own_thresholds == own
