"""Pages that lead somewhere, name what exists, and speak of the product alone."""

import re
import subprocess
from pathlib import Path

import pytest
from django.core.management import get_commands

ROOT = Path(__file__).parent.parent.parent
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
LINK = re.compile(r"\]\(([^)#\s]+)(?:#[^)]*)?\)")
SCRIPT = re.compile(r"(?<![\w/])(?:script/(?:demo|test|check|lock)|\.ci/run)(?![\w-])")
COMMAND = re.compile(r"manage\.py (\w+)")


def tracked_text() -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return [ROOT / name for name in listed.stdout.splitlines() if (ROOT / name).is_file()]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
class TestPage:
    def test_leads_to_files_that_exist(self, page: Path):
        for target in LINK.findall(page.read_text()):
            if "://" not in target:
                assert (page.parent / target).exists(), target

    def test_names_scripts_and_commands_that_exist(self, page: Path):
        text = page.read_text()
        for script in SCRIPT.findall(text):
            assert (ROOT / script).exists(), script
        assert set(COMMAND.findall(text)) <= set(get_commands())


def test_no_file_names_a_machine_or_a_registry():
    words = re.compile("|".join(["/wor" + "k/", "/far" + "m/", "py" + r"pi\.org", "npm" + "js"]))
    found = [
        str(path.relative_to(ROOT))
        for path in tracked_text()
        if words.search(path.read_text(errors="replace"))
    ]
    assert found == []


def test_the_readme_opens_with_the_job():
    first = (ROOT / "README.md").read_text().split("\n\n")[1]
    assert first.startswith("A horizontal-jumps coach")
