"""What analytics does when approaches say that something happened."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from approaches.signals import attempts_changed
from common import waker


def wake_workers(club_id: UUID, series: Iterable[tuple[UUID, str]], **_kwargs: Any) -> None:
    """Have each changed series looked at soon."""
    for approach_id, finish_class in series:
        waker.wake(
            "analytics.refresh_series",
            club_id=club_id,
            approach_id=approach_id,
            finish_class=finish_class,
        )


def connect() -> None:
    attempts_changed.connect(wake_workers, dispatch_uid="analytics.wake_workers")
