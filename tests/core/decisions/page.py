"""The page that says how often diagnosis and advice were right."""

from pathlib import Path

from tests.core.decisions import diagnosing, lengthening, marking
from tests.core.tables import Page

_INTRODUCTION = """\
# How often diagnosis and advice are right

Written by `python -m tests.core.decisions`; a test measures again and compares.

Measured on [simulated athletes](simulator.md) whose trouble is known, which no real athlete's is:
real ones have several at once, and troubles that the simulator does not know. Shares have a
standard error of up to 0.035 over 200 runs. Read it as the best that can be hoped for. Advice
never replaces the coach on the spot.
"""

PAGE = Page(
    path=Path(__file__).parents[3] / "docs" / "metrics" / "decisions.md",
    introduction=_INTRODUCTION,
    tables=(
        diagnosing.TABLE,
        marking.TABLE,
        marking.POWER,
        lengthening.TABLE,
        lengthening.POWER,
    ),
)
