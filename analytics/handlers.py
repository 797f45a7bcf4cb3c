"""What analytics does when approaches say that something happened, or somebody asks how it is."""

from collections.abc import Iterable, Iterator
from typing import Any
from uuid import UUID

from django.utils import timezone
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from analytics.services import backlog
from approaches.signals import attempts_changed
from common import health, metrics, waker


def wake_workers(club_id: UUID, series: Iterable[tuple[UUID, str]], **_kwargs: Any) -> None:
    """Have each changed series looked at soon."""
    for approach_id, finish_class in series:
        waker.wake(
            "analytics.refresh_series",
            club_id=club_id,
            approach_id=approach_id,
            finish_class=finish_class,
        )


def complain_of_backlog() -> str | None:
    return backlog.find_complaint(now=timezone.now())


def complain_of_work() -> str | None:
    return backlog.find_work_complaint(now=timezone.now())


class BacklogCollector(Collector):
    """Ask the database what waits when somebody looks at the metrics."""

    def describe(self) -> list[GaugeMetricFamily]:
        return []  # nothing is asked of the database at registration

    def collect(self) -> Iterator[GaugeMetricFamily]:
        found = backlog.read_backlog(now=timezone.now())
        for name, text, value in (
            ("penult_refresh_backlog", "Series that wait to be computed.", found.waiting),
            ("penult_refresh_poisoned", "Series that raised and were put off.", found.poisoned),
            ("penult_refresh_oldest_seconds", "Wait of the oldest one due.", found.oldest_s),
        ):
            yield GaugeMetricFamily(name, text, value=value)
        work = backlog.read_work_backlog()
        for name, text, value in (
            ("penult_work_waiting", "Questions that wait for a worker.", work.waiting),
            ("penult_work_running", "Questions that a worker is at.", work.running),
        ):
            yield GaugeMetricFamily(name, text, value=value)


_collector = BacklogCollector()


def connect() -> None:
    """Listen to approaches, and answer to health and metrics; safe to call again."""
    attempts_changed.connect(wake_workers, dispatch_uid="analytics.wake_workers")
    health.register(complain_of_backlog)
    health.register(complain_of_work)
    metrics.add_gauges(_collector)
