"""Measure every row and write the page: `python -m tests.answers.ranges`."""

import os

import django

if __name__ == "__main__":
    # The answers are read from models, though none is asked of a database here.
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.test")
    django.setup()
    from tests.answers.ranges.page import PAGE

    PAGE.write()
