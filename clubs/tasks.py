"""Jobs over clubs."""

from celery import shared_task

from clubs.services import answering


@shared_task(name="clubs.forget_answers")
def forget_answers() -> None:
    """Run the service of the same name."""
    answering.forget_answers()
