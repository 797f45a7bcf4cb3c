"""The page that says how often the charts alarm without a change, and how soon with one."""

from pathlib import Path

from tests.core.false_alarms import changed, searches, unchanged
from tests.core.tables import Page

_INTRODUCTION = """\
# False alarms, and how soon a change is called

Written by `python -m tests.core.false_alarms`; a test measures again and compares.

Invented athletes aim at 0.06 m and spread by 0.08 m (SD) within a session; their errors are
normal. "Sessions differ" is the SD of the sessions' own effects over that within. Each athlete has
a baseline of their own, estimated from the first sessions as in the service. Real athletes also
tire, warm up and have wild days, so read all of it as the best that can be hoped for. An alarm is a
reason to look. What follows from it the coach on the spot decides.
"""

PAGE = Page(
    path=Path(__file__).parents[3] / "docs" / "metrics" / "false_alarms.md",
    introduction=_INTRODUCTION,
    tables=(
        unchanged.TABLE,
        unchanged.WINDOWS,
        changed.SHIFTS,
        changed.SPREADS,
        changed.DATES,
        searches.TABLE,
    ),
)
