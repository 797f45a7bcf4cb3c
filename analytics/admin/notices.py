"""What the first page tells of alerts."""

from django.urls import reverse

from analytics import selectors
from clubs.admin import Notice, add_notice
from clubs.selectors import Caller, today_at


def open_alerts(caller: Caller) -> Notice:
    alerts = selectors.list_alerts_for(caller, today=today_at(caller.club))
    return Notice(
        count=alerts.filter(closed_at=None, acknowledged_at=None).count(),
        words="open alerts that nobody has acknowledged",
        why="They are for the coaches; an alert that stays may want a word with one.",
        address=f"{reverse('admin:analytics_alert_changelist')}?closed_at__isempty=1",
    )


add_notice(40, open_alerts)
