"""Jobs over series and over what was asked for.

The message only says "look now"; the rows say what is to do.
"""

from uuid import UUID

from celery import shared_task

from analytics.services import refreshing, rounds, sweeping, working


@shared_task(name="analytics.refresh_series")
def refresh_series(*, club_id: str, approach_id: str, finish_class: str) -> None:
    """Run the service of the same name."""
    refreshing.refresh_series(
        club_id=UUID(club_id), approach_id=UUID(approach_id), finish_class=finish_class
    )


@shared_task(name="analytics.sweep_refreshes")
def sweep_refreshes() -> None:
    """Run the service of the same name."""
    sweeping.sweep_refreshes()


@shared_task(name="analytics.do_due_work")
def do_due_work() -> None:
    """Run the service of the same name."""
    rounds.do_due_work()


@shared_task(name="analytics.forget_old_work")
def forget_old_work() -> None:
    """Run the service of the same name."""
    working.forget_old_work()
