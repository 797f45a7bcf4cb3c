"""Jobs over clubs."""

from celery import shared_task

from clubs.services import answering, log_ins


@shared_task(name="clubs.forget_answers")
def forget_answers() -> None:
    """Run the service of the same name."""
    answering.forget_answers()


@shared_task(name="clubs.forget_log_ins")
def forget_log_ins() -> None:
    """Run the service of the same name."""
    log_ins.forget_log_ins()
