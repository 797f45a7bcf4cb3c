"""Keep the alerts of a series in step with what the charts say."""

from collections.abc import Collection
from datetime import datetime

from django.db.models import Q

from analytics.core.alert_rules import Verdict
from analytics.core.alert_settings import Kind
from analytics.models import Alert
from analytics.selectors import Series
from analytics.services import figures
from analytics.services.judging import Event, Judged
from clubs.models import Club

CALM = "calm"
NEW_PLAN = "new_plan"
FIGURES_CHANGED = "figures_changed"
RULES_CHANGED = "rules_changed"
SWITCHED_OFF = "switched_off"
# Such an alert would not be there if everything were judged today: it is kept as what a coach saw.
WITHOUT_GROUND = (FIGURES_CHANGED, RULES_CHANGED, SWITCHED_OFF)

# What judging says of an alert. Nothing else of it is written here: a coach may acknowledge it, or
# put it off, at this very moment.
JUDGED = (
    "plan_id",
    "opened_at_attempt_id",
    "opened_at",
    "evidence",
    "closed_at",
    "closed_because",
)


def reconcile_alerts(
    *,
    club: Club,
    series: Series,
    judged: Judged,
    active: Collection[Kind],
    ground_lost_by: str,
    now: datetime,
) -> list[Alert]:
    """Open and close alerts as judged; return those that are new.

    An alert that is left without ground is closed for the reason `ground_lost_by`; what a person
    did about it stays. One whose rule is off is closed for that; if it was closed before, it stays
    as it was told.
    """
    open_now = _list_open_before(series, judged)
    redone = _list_redone(series, judged)
    before = {alert.id: _said(alert) for alert in (*open_now.values(), *redone)}
    for alert in open_now.values():
        alert.closed_at, alert.closed_because = None, ""
    touched, opened = list(open_now.values()), []
    for event in judged.events:
        kind = event.decision.kind.value
        if event.decision.verdict is Verdict.CLOSES:
            _close(open_now.pop(kind), event)
            continue
        known = _find_same(redone, event)
        if known is None:
            alert = Alert(club=club, approach_id=series.approach_id, kind=kind)
            opened.append(alert)
        else:
            redone.remove(known)
            alert = known
            touched.append(alert)
        _open(alert, series, event)
        open_now[kind] = alert
    for alert in redone:
        is_on = alert.kind in active
        if alert.closed_because not in WITHOUT_GROUND and (is_on or alert.closed_at is None):
            alert.closed_at = now
            alert.closed_because = ground_lost_by if is_on else SWITCHED_OFF
            touched.append(alert)
    for alert in touched:
        if before[alert.id] != _said(alert):
            alert.save(update_fields=JUDGED)
    Alert.objects.bulk_create(opened)
    return opened


def _list_open_before(series: Series, judged: Judged) -> dict[str, Alert]:
    """Return the alerts that the first event finds open, by kind."""
    alerts = Alert.objects.filter(
        approach_id=series.approach_id,
        finish_class=series.finish_class,
        opened_at_attempt_id__in=judged.open_before.values(),
    )
    return {
        alert.kind: alert
        for alert in alerts
        if judged.open_before.get(Kind(alert.kind)) == alert.opened_at_attempt_id
    }


def _list_redone(series: Series, judged: Judged) -> list[Alert]:
    """Return the alerts of sessions that were judged again, and of those that open one now."""
    alerts = Alert.objects.filter(approach_id=series.approach_id, finish_class=series.finish_class)
    if judged.since is not None:
        opens_at = [
            event.attempt_id for event in judged.events if event.decision.verdict is Verdict.OPENS
        ]
        alerts = alerts.filter(
            Q(opened_at__gte=judged.since) | Q(opened_at_attempt_id__in=opens_at)
        )
    alerts = alerts.exclude(opened_at_attempt_id__in=judged.kept_attempts)
    return list(alerts.select_related("opened_at_attempt"))


def _find_same(alerts: list[Alert], event: Event) -> Alert | None:
    """Return the alert that this event opened before, or None.

    It is the same session that opens it, though perhaps at another attempt: one that arrived late
    must not make a second alert of what a coach has seen already.
    """

    def distance(alert: Alert) -> tuple[bool, bool]:
        same_attempt = alert.opened_at_attempt_id == event.attempt_id
        return not same_attempt, alert.closed_because in WITHOUT_GROUND

    same = [
        alert
        for alert in alerts
        if alert.kind == event.decision.kind.value
        and (
            alert.opened_at_attempt_id == event.attempt_id
            or (alert.opened_at_attempt.session_id, alert.plan_id)
            == (event.session_id, event.plan_id)
        )
    ]
    return min(same, key=distance, default=None)


def _said(alert: Alert) -> tuple[object, ...]:
    """Return what judging says of an alert, to see whether it says anything else now."""
    return tuple(getattr(alert, name) for name in JUDGED)


def _close(alert: Alert, event: Event) -> None:
    alert.closed_at = event.at
    alert.closed_because = NEW_PLAN if "reason" in event.decision.evidence else CALM


def _open(alert: Alert, series: Series, event: Event) -> None:
    alert.finish_class = series.finish_class
    alert.plan_id = event.plan_id
    alert.opened_at_attempt_id = event.attempt_id
    alert.opened_at = event.at
    alert.evidence = {
        name: figures.as_json(value) for name, value in event.decision.evidence.items()
    }
    alert.closed_at, alert.closed_because = None, ""
