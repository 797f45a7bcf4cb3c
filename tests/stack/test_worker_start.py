"""What a worker and beat load before they work: a worker that was killed is missed until then."""

import subprocess
import sys

_START = """
import sys
from config.celery import app
app.loader.import_default_modules()  # as the programs worker and beat do
print(*app.tasks)
print(*sys.modules)
"""
# Addresses and what stands behind them, and the libraries of pictures and papers.
_OF_THE_DOORS = {
    "config.urls",
    "analytics.api",
    "analytics.pages",
    "matplotlib",
    "typst",
    "openpyxl",
}


def test_leaves_the_doors_and_what_stands_behind_them_to_the_web_process():
    started = subprocess.run(
        [sys.executable, "-c", _START], capture_output=True, text=True, check=True, timeout=200
    )

    tasks, modules = (set(line.split()) for line in started.stdout.splitlines())
    assert {"analytics.refresh_series", "analytics.sweep_refreshes"} <= tasks
    assert "analytics.services.refreshing" in modules
    assert not _OF_THE_DOORS & modules
