"""Measure every row and write the page: `python -m tests.core.decisions`."""

from tests.core.decisions.page import PAGE

if __name__ == "__main__":
    PAGE.write()
