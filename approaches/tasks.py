"""Jobs over approaches."""

from celery import shared_task

from approaches.services import quarantine


@shared_task(name="approaches.expire_quarantine")
def expire_quarantine() -> None:
    """Run the service of the same name."""
    quarantine.forget_expired()
