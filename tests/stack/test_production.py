"""Django's own list of what a service on the open net must set."""

import os
import subprocess
import sys

from config.local_stack import CHECKOUT


def test_checks_for_deployment_find_nothing():
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "config.settings.production",
        "SECRET_KEY": "0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ",
        "ALLOWED_HOSTS": "penult.example",
        "METRICS_TOKEN": "read-by-the-machine-that-watches",
    }

    done = subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=CHECKOUT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 0, done.stderr
    assert "no issues" in done.stdout
