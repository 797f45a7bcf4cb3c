"""The page that says how often the ranges of "what if" held."""

from pathlib import Path

from tests.answers.ranges import holding
from tests.core.tables import Page

_INTRODUCTION = """\
# How often the ranges of "what if" hold

Written by `python -m tests.answers.ranges`; a test measures some rows again and compares.

[What if](what_if.md) answers with ranges that are called 90 %. Here
[simulated athletes](simulator.md) whose habits are known jump some sessions, the question is asked,
they do what was asked about, and it is counted how often the change that comes true lies in the
range. Real athletes have habits that no simulator knows: read it as the best that can be hoped for.

Who grows is another athlete by the next session than the one who was measured, and with three
sessions nobody can tell well how days differ: there the ranges hold less often. What is halved is
the unsteadiness as it is measured, errors in seeing included; who then sees as badly as before
has it halved only in part.
"""

PAGE = Page(
    path=Path(__file__).parents[3] / "docs" / "metrics" / "what_if_ranges.md",
    introduction=_INTRODUCTION,
    tables=(holding.TABLE,),
)
