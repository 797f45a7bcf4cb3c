"""What the service counts of itself, for Prometheus."""

from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.registry import Collector

rows_received = Counter(
    "penult_rows_received", "Rows that sources pushed, by what became of them.", ["outcome"]
)
refresh_seconds = Histogram(
    "penult_refresh_seconds",
    "Time to bring one series up to date.",
    buckets=(0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 10, 60),
)
refresh_failures = Counter("penult_refresh_failures", "Refreshes that raised.")
work_seconds = Histogram(
    "penult_work_seconds",
    "Time that a worker took for a question, by what became of it.",
    ["state"],
    buckets=(0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60, 120),
)
alerts_opened = Counter("penult_alerts_opened", "Alerts opened, by kind.", ["kind"])

# Gauges that are asked of the database when somebody looks; the apps add their collectors.
gauges = CollectorRegistry()
_added: set[int] = set()


def add_gauges(collector: Collector) -> None:
    """Have `collector` asked at each look; once, however often it is added."""
    if id(collector) not in _added:
        _added.add(id(collector))
        gauges.register(collector)
