"""What an athlete's page shows of run-ups: the plans in force, the latest figures, open alerts."""

from typing import Any

from django.db.models import F
from django.utils import timezone

from analytics import selectors
from analytics.core import conventions, rolling
from analytics.selectors import SeriesSummary
from analytics.services import wording
from analytics.services.method import METHOD
from approaches import selectors as approach_selectors
from approaches.models import Approach
from athletes.models import Athlete
from clubs.admin import Section, add_section
from clubs.selectors import Caller, today_at

NOT_ENOUGH = "not enough measured"


def alerts(athlete: Athlete, caller: Caller) -> dict[str, Any]:
    """Gather the alerts that are open, in the words in which coaches read them."""
    open_ones = (
        selectors.list_alerts_for(caller, today=today_at(caller.club))
        .filter(approach__athlete=athlete, closed_at=None)
        .order_by("-opened_at", "-id")
    )
    return {
        "alerts": [
            {"alert": alert, "words": wording.describe_alert(alert.kind, alert.evidence)}
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
                "series": [_as_text(each) for each in summaries.get(approach.id, [])],
            }
            for approach in approaches.order_by(F("archived_at").asc(nulls_first=True), "code")
        ],
        "window": rolling.DEFAULT_WINDOW,
        "level": f"{conventions.DEFAULT_LEVEL:.0%}",
    }


def _as_text(summary: SeriesSummary) -> dict[str, Any]:
    """Return the figures of one series as people read them."""
    point = summary.point
    return {
        "summary": summary,
        "name": summary.finish_class.label,
        "bias": NOT_ENOUGH
        if point is None
        else _centimetres(point.bias_m, point.bias_low_m, point.bias_high_m, sign="+"),
        "spread": NOT_ENOUGH
        if point is None
        else _centimetres(point.spread_m, point.spread_low_m, point.spread_high_m, sign="-"),
        "no_jumps": "" if point is None else f"{point.n_no_jumps} of {point.n}",
        "n": "" if point is None else f"{point.n_measured} of {point.n}",
    }


def _centimetres(
    value_m: float | None, low_m: float | None, high_m: float | None, *, sign: str
) -> str:
    """Return a figure with its interval; `sign` is + where the direction matters, else -."""
    if value_m is None:
        return NOT_ENOUGH
    value = f"{100 * value_m:{sign}.1f} cm"
    if low_m is None or high_m is None:
        return _true_minus(value)
    return _true_minus(f"{value} ({100 * low_m:{sign}.1f} to {100 * high_m:{sign}.1f})")


def _true_minus(text: str) -> str:
    return text.replace("-", "−")


add_section(Athlete, Section(10, "Open alerts", "analytics/admin/alerts.html", alerts, wide=True))
add_section(Athlete, Section(20, "Run-ups", "analytics/admin/run_ups.html", run_ups, wide=True))
