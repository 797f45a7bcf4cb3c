"""Keep the alerts of a series in step with what the charts say."""

from datetime import datetime
from uuid import UUID

from django.db.models import Q

from analytics.core.alert_rules import Verdict
from analytics.models import Alert
from analytics.selectors import Series
from analytics.services import figures
from analytics.services.judging import Event, Judged
from clubs.models import Club
from common import metrics

CALM = "calm"
NEW_PLAN = "new_plan"
FIGURES_CHANGED = "figures_changed"


def reconcile_alerts(*, club: Club, series: Series, judged: Judged, now: datetime) -> list[Alert]:
    """Open and close alerts as judged; return those that are new.

    An alert that a correction of the past leaves without ground is closed as `figures_changed`;
    what a person did about it stays.
    """
    open_now, redone = _sort_known(series, judged)
    touched: list[Alert] = list(open_now.values())
    opened: list[Alert] = []
    for event in judged.events:
        kind = event.decision.kind.value
        if event.decision.verdict is Verdict.OPENS:
            known = redone.pop((kind, event.attempt_id), None)
            alert = known or Alert(club=club, approach_id=series.approach_id, kind=kind)
            _open(alert, series, event)
            open_now[kind] = alert
            touched.append(alert)
            if known is None:
                opened.append(alert)
        elif kind in open_now:
            _close(open_now.pop(kind), event)
    for alert in redone.values():
        if alert.closed_because != FIGURES_CHANGED:
            alert.closed_at, alert.closed_because = now, FIGURES_CHANGED
            touched.append(alert)
    for alert in touched:
        alert.save()
    for alert in opened:
        metrics.alerts_opened.labels(alert.kind).inc()
    return opened


def _sort_known(
    series: Series, judged: Judged
) -> tuple[dict[str, Alert], dict[tuple[str, UUID], Alert]]:
    """Return the alerts that were open when judging began, and those that were judged again."""
    alerts = Alert.objects.filter(
        approach_id=series.approach_id, finish_class=series.finish_class
    ).select_for_update(no_key=True)
    if judged.since is not None:
        alerts = alerts.filter(
            Q(opened_at__gte=judged.since) | Q(closed_at=None) | Q(closed_at__gte=judged.since)
        )
    open_now: dict[str, Alert] = {}
    redone: dict[tuple[str, UUID], Alert] = {}
    for alert in alerts.order_by("opened_at"):
        again = judged.since is None or alert.opened_at >= judged.since
        if again and alert.opened_at_attempt_id not in judged.kept_attempts:
            redone[alert.kind, alert.opened_at_attempt_id] = alert
        elif alert.closed_because != FIGURES_CHANGED:
            alert.closed_at, alert.closed_because = None, ""
            open_now[alert.kind] = alert
    return open_now, redone


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
