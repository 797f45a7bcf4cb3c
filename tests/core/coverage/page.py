"""The page that says how often the intervals covered the truth."""

import re
from collections.abc import Mapping
from pathlib import Path

from tests.core.coverage.studies import Study

PAGE = Path(__file__).parents[3] / "docs" / "metrics" / "coverage.md"

_INTRODUCTION = """\
# Coverage of the intervals

Written by `python -m tests.core.coverage`; a test measures again and compares.

An interval of 95 % should cover the truth in 95 of 100 cases. Here attempts are made whose truth is
known, the interval is computed, and what it covered is counted. The share of {runs} runs has a
standard error of 0.007 where 0.95 is true, so an exact interval may come out between 0.935 and
0.965. Approximate and bootstrap intervals have the band that was measured for them: where they
cover less or more than they promise, it is shown, not hidden. What is said of the present bias
starts from a belief, so its truth is drawn from that belief. Simulated errors are normal unless
the setting says otherwise.

| metric | setting | figure | interval | covered | band |
|---|---|---|---|---|---|
"""

_ROW = re.compile(r"^\| \[(.+?)\]\(.+?\) \| (.+?) \| (.+?) \| .+? \| ([\d.]+) \| .+? \|$", re.M)


def render(measured: Mapping[str, list[float]], studies: list[Study]) -> str:
    """Return the page for the shares measured, by the name of the study."""
    rows = [
        f"| [{study.page}]({study.page}.md) | {study.setting} | {figure.name} | {figure.kind} "
        f"| {share:.3f} | {figure.low:g} to {figure.high:g} |"
        for study in studies
        for figure, share in zip(study.figures, measured[study.name], strict=True)
    ]
    runs = " to ".join(f"{count:,}" for count in sorted({study.runs for study in studies}))
    return _INTRODUCTION.format(runs=runs) + "\n".join(rows) + "\n"


def read() -> dict[tuple[str, str], float]:
    """Return the shares that the page gives, by the name of the study and the figure."""
    return {
        (f"{page}: {setting}", figure): float(share)
        for page, setting, figure, share in _ROW.findall(PAGE.read_text(encoding="utf-8"))
    }
