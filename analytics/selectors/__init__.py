"""Questions about series: their attempts as arrays, their figures, their alerts."""

from analytics.selectors.alerts import (
    HeldRule,
    count_series_judged_otherwise,
    get_alert_for,
    get_alert_rule,
    list_alert_rules,
    list_alerts_for,
    lock_alert,
    put_off_on,
    stamp_of,
)
from analytics.selectors.run_ups import CheckMark, Marks, RunUps, read_run_ups_for
from analytics.selectors.series import (
    Series,
    SeriesAttempts,
    find_first_open,
    list_series,
    list_sessions_since,
    read_footfalls,
    read_latest,
    read_series,
)
from analytics.selectors.standing import (
    Point,
    SeriesSummary,
    Standing,
    get_standing_for,
    list_summaries,
    read_points,
)

__all__ = [
    "CheckMark",
    "HeldRule",
    "Marks",
    "Point",
    "RunUps",
    "Series",
    "SeriesAttempts",
    "SeriesSummary",
    "Standing",
    "count_series_judged_otherwise",
    "find_first_open",
    "get_alert_for",
    "get_alert_rule",
    "get_standing_for",
    "list_alert_rules",
    "list_alerts_for",
    "list_series",
    "list_sessions_since",
    "list_summaries",
    "lock_alert",
    "put_off_on",
    "read_footfalls",
    "read_latest",
    "read_points",
    "read_run_ups_for",
    "read_series",
    "stamp_of",
]
