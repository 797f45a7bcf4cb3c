"""The task queue: queues, time limits and the schedule."""

import os
from typing import Any

import billiard.pool
import redis
import structlog
from celery import Celery
from celery.signals import setup_logging, worker_init, worker_ready

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.local")
# Checks of the code are for script/check. They import every address with all that stands behind it,
# pictures and papers, too: nearly a third of what a worker or beat costs until it works.
os.environ.setdefault("CELERY_SKIP_CHECKS", "1")

from django.conf import settings
from django.utils import timezone

logger = structlog.get_logger(__name__)

SOFT_LIMIT_SECONDS = 300
HARD_LIMIT_SECONDS = 330
QUEUE = "refresh"

# A child that ends waits until its parent has read all its answers, 300 times 0.1 s; a parent that
# was told to stop does not read any more, so that one stop in a few took half a minute. A task
# whose answer nobody read is given back and run again, which any of ours may be.
billiard.pool.GUARANTEE_MESSAGE_CONSUMPTION_RETRY_LIMIT = 20

app = Celery("penult")
app.conf.update(
    broker_url=settings.REDIS_URL,
    broker_connection_retry_on_startup=True,
    # Workers with time-outs below a second never consumed again after a broker's pause.
    broker_transport_options={
        "visibility_timeout": 900,
        "socket_timeout": 5,
        "socket_connect_timeout": 2,
        "health_check_interval": 10,
    },
    task_serializer="json",
    accept_content=["json"],
    task_ignore_result=True,
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    task_soft_time_limit=SOFT_LIMIT_SECONDS,
    task_time_limit=HARD_LIMIT_SECONDS,
    worker_prefetch_multiplier=1,
    worker_soft_shutdown_timeout=20.0,
    worker_enable_soft_shutdown_on_idle=True,
    worker_cancel_long_running_tasks_on_connection_loss=False,
    task_default_queue=QUEUE,
    timezone="UTC",
    beat_schedule={
        "sweep-refreshes": {
            "task": "analytics.sweep_refreshes",
            "schedule": settings.REFRESH_SWEEP_SECONDS,
            # A round that waited longer than this is superseded by the next one.
            "options": {"expires": 30},
        },
        "do-due-work": {
            "task": "analytics.do_due_work",
            "schedule": settings.WORK_SWEEP_SECONDS,
            "options": {"expires": 30},
        },
        "forget-old-work": {
            "task": "analytics.forget_old_work",
            "schedule": 3600.0,
            "options": {"expires": 3600},
        },
        "forget-answers": {
            "task": "clubs.forget_answers",
            "schedule": 3600.0,
            "options": {"expires": 3600},
        },
        "forget-log-ins": {
            "task": "clubs.forget_log_ins",
            "schedule": 600.0,
            "options": {"expires": 600},
        },
        "expire-quarantine": {
            "task": "approaches.expire_quarantine",
            "schedule": 3600.0,
            "options": {"expires": 3600},
        },
    },
)
app.autodiscover_tasks()


@setup_logging.connect
def use_django_logging(**_kwargs: Any) -> None:
    """Keep the structured log that the settings configured."""


@worker_init.connect
def refuse_a_role_that_sees_every_club(**_kwargs: Any) -> None:
    from common.wall import refuse_bypassing_role

    refuse_bypassing_role()


@worker_init.connect
def forget_what_is_worth_nothing(**_kwargs: Any) -> None:
    """Begin with the latest messages: after a night without workers thousands lie there."""
    from common import broker

    try:
        broker.forget_old_messages(QUEUE)
    except redis.RedisError as error:  # the worker waits for its broker, as ever
        logger.warning("old_messages_kept", error=type(error).__name__)


@worker_ready.connect
def end_when_idling_for_no_reason(**_kwargs: Any) -> None:
    from analytics.services import backlog
    from common import idling

    idling.start(
        queue=QUEUE,
        limit_s=settings.IDLE_WORKER_ENDS_AFTER_SECONDS,
        oldest_s=lambda: backlog.read_backlog(now=timezone.now()).oldest_s,
    )
