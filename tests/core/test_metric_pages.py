"""The pages on metrics: their worked examples run, and their table of defaults is the code's."""

import dataclasses
import doctest
import re
from pathlib import Path

import pytest

from analytics.core import alert_settings

FOLDER = Path(__file__).parents[2] / "docs" / "metrics"
PAGES = sorted(FOLDER.glob("*.md"))
WRITTEN_BY_COMMANDS = {"coverage", "decisions", "false_alarms", "what_if_ranges"}
NOT_ABOUT_A_METRIC = WRITTEN_BY_COMMANDS | {"index", "mutation"}
HEADINGS = ["Formula", "Units and sign", "Edge cases", "Worked example", "How to read it", "Source"]


def python_blocks(page: Path) -> str:
    return "\n".join(re.findall(r"```python\n(.*?)```", page.read_text(encoding="utf-8"), re.S))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
class TestPages:
    def test_worked_examples_run_as_printed(self, page: Path):
        parsed = doctest.DocTestParser().get_doctest(python_blocks(page), {}, page.name, None, 0)

        outcome = doctest.DocTestRunner().run(parsed)

        assert outcome.failed == 0
        assert outcome.attempted > 0 or page.stem in NOT_ABOUT_A_METRIC

    def test_have_the_same_sections(self, page: Path):
        found = re.findall(r"^## (.+)$", page.read_text(encoding="utf-8"), re.M)

        sections = [name for name in found if name in HEADINGS]
        assert sections == HEADINGS or page.stem in NOT_ABOUT_A_METRIC

    def test_stand_in_the_index(self, page: Path):
        index = (FOLDER / "index.md").read_text(encoding="utf-8")

        assert page.stem == "index" or f"({page.name})" in index


class TestDefaults:
    def test_of_the_alert_rules_are_those_of_the_page(self):
        rows = re.findall(
            r"^\| `(\w+)` \| ([\d.]+) \|", (FOLDER / "alert_rules.md").read_text("utf-8"), re.M
        )

        settings = dataclasses.asdict(alert_settings.RULE_DEFAULTS)
        assert {name: float(value) for name, value in rows} == settings
