"""What an athlete's page shows of run-ups: the plans in force, the latest figures, open alerts."""

from typing import Any

from django.db.models import F
from django.utils import timezone

from analytics import selectors
from analytics.answers import alert_words
from analytics.cards import figures
from analytics.core import conventions, rolling
from analytics.selectors import SeriesSummary
from analytics.services.method import METHOD
from approaches import selectors as approach_selectors
from approaches.models import Approach
from athletes.models import Athlete
from clubs.admin import Section, add_section
from clubs.selectors import Caller, today_at


def alerts(athlete: Athlete, caller: Caller) -> dict[str, Any]:
    """Gather the alerts that are open, in the words in which coaches read them."""
    open_ones = (
        selectors.list_alerts_for(caller, today=today_at(caller.club))
        .filter(approach__athlete=athlete, closed_at=None)
        .order_by("-opened_at", "-id")
    )
    return {
        "alerts": [
            {"alert": alert, "words": alert_words.describe(alert.kind, alert.evidence)}
            for alert in open_ones
        ]
    }


def run_ups(athlete: Athlete, _caller: Caller) -> dict[str, Any]:
    """Gather every run-up with its plan in force and where its series stand."""
    approaches = Approach.objects.filter(athlete=athlete)
    plans = {
        plan.approach_id: plan
        for plan in approach_selectors.list_plans_in_force(approaches, timezone.now())
    }
    summaries: dict[Any, list[SeriesSummary]] = {}
    for summary in selectors.list_summaries(approaches, method=METHOD):
        summaries.setdefault(summary.approach_id, []).append(summary)
    return {
        "athlete": athlete,
        "run_ups": [
            {
                "approach": approach,
                "plan": plans.get(approach.id),
                "series": [figures.in_words(each) for each in summaries.get(approach.id, [])],
            }
            for approach in approaches.order_by(F("archived_at").asc(nulls_first=True), "code")
        ],
        "window": rolling.DEFAULT_WINDOW,
        "level": f"{conventions.DEFAULT_LEVEL:.0%}",
    }


add_section(Athlete, Section(10, "Open alerts", "analytics/admin/alerts.html", alerts, wide=True))
add_section(Athlete, Section(20, "Run-ups", "analytics/admin/run_ups.html", run_ups, wide=True))
