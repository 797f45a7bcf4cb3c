"""Measure every row and write the page: `python -m tests.core.false_alarms`."""

from tests.core.false_alarms.page import PAGE

if __name__ == "__main__":
    PAGE.write()
