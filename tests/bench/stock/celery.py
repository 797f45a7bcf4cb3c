"""The peer's task queue: one message and one task for each attempt."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.bench.stock.settings")

app = Celery("stock", broker=os.environ.get("REDIS_URL"), include=["tests.bench.stock.tasks"])
app.conf.update(task_ignore_result=True)
