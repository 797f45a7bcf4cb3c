"""The club's alert rules and alerts, as its admin keeps them."""

import pytest
from django.test import Client
from django.urls import reverse

from analytics.models import Alert, AlertRule
from clubs.models import AuditEntry, Club, Membership
from common.club_scope import club_scope
from tests.admin.scenes import errors_of, furnish_club, save

pytestmark = pytest.mark.django_db(transaction=True)

PAGE = "analytics_alertrule"


def rule_of(club: Club, kind: str) -> AlertRule | None:
    with club_scope(club):
        return AlertRule.objects.filter(kind=kind).first()


class TestRules:
    def test_are_set_through_the_service(
        self, browser: Client, club: Club, admin_membership: Membership
    ):
        typed = {"kind": "no_jump_share", "is_active": "on", "no_jump_share_limit": "0.25"}

        added = save(browser, club, PAGE, typed)

        rule = rule_of(club, "no_jump_share")
        assert added.status_code == 302
        assert rule is not None
        assert (rule.is_active, rule.thresholds) == (True, {"no_jump_share_limit": 0.25})
        with club_scope(club):
            (entry,) = AuditEntry.objects.filter(subject_kind="alert_rule")
        assert (entry.action, entry.field_names) == ("alert_rule_changed", ["no_jump_share_limit"])
        assert entry.actor_id == admin_membership.id

    def test_are_shown_with_their_own_thresholds_and_changed(self, browser: Client, club: Club):
        save(browser, club, PAGE, {"kind": "level", "is_active": "on", "calm_sessions": "3"})
        rule = rule_of(club, "level")
        assert rule is not None

        shown = browser.get(reverse(f"admin:{PAGE}_change", args=[rule.pk])).content.decode()
        changed = save(browser, club, PAGE, {"calm_sessions": ""}, row=rule)

        assert 'name="calm_sessions" value="3"' in shown
        assert "no_jump_attempts" not in shown
        assert changed.status_code == 302
        rule = rule_of(club, "level")
        assert rule is not None
        assert (rule.is_active, rule.thresholds) == (False, {})

    def test_are_refused_at_the_field_with_the_rule(self, browser: Client, club: Club):
        kind = {"kind": "no_jump_share", "is_active": "on"}

        beyond = save(browser, club, PAGE, {**kind, "no_jump_attempts": "21"})
        foreign = save(browser, club, PAGE, {**kind, "progress_sessions": "3"})
        nothing = save(browser, club, PAGE, kind)

        assert errors_of(beyond) == {"no_jump_attempts": ["It is a whole number from 1 to 20."]}
        assert list(errors_of(foreign)) == ["progress_sessions"]
        assert list(errors_of(nothing)) == ["__all__"]
        assert rule_of(club, "no_jump_share") is None

    def test_are_set_once_for_each_kind(self, browser: Client, club: Club):
        typed = {"kind": "level", "calm_sessions": "3"}
        save(browser, club, PAGE, typed)

        assert list(errors_of(save(browser, club, PAGE, typed))) == ["kind"]


class TestAlerts:
    def test_are_acknowledged_by_the_admin(
        self, browser: Client, club: Club, admin_membership: Membership
    ):
        alert = furnish_club(club)[Alert]
        chosen = {"action": "acknowledge", "_selected_action": [str(alert.pk)]}

        answer = browser.post(reverse("admin:analytics_alert_changelist"), chosen, follow=True)

        assert "1 of 1 are open; acknowledged." in answer.content.decode()
        with club_scope(club):
            alert.refresh_from_db()
            assert AuditEntry.objects.filter(action="alert_changed").count() == 1
        assert alert.acknowledged_by_id == admin_membership.id
