"""Every command that a page names exists."""

import importlib.util
import re
from pathlib import Path

import pytest
from django.core.management import get_commands

from tests.docs import pages

_SCRIPT = re.compile(r"(?<![\w/])((?:script|\.ci)/\w+)(?!\.)\b")
_MODULE = re.compile(r"python3? -m ([\w.]+)")
_MANAGEMENT = re.compile(r"manage\.py ([a-z_]+)")


@pytest.mark.parametrize("page", pages.list_pages(), ids=pages.name_of)
class TestCommands:
    def test_scripts_can_be_run(self, page: Path):
        for name in _SCRIPT.findall(page.read_text(encoding="utf-8")):
            path = pages.CHECKOUT / name

            assert path.is_file(), name
            assert path.stat().st_mode & 0o100, name

    def test_modules_can_be_run(self, page: Path):
        for name in _MODULE.findall(page.read_text(encoding="utf-8")):
            found = importlib.util.find_spec(name)

            assert found is not None, name
            if found.submodule_search_locations:
                assert importlib.util.find_spec(f"{name}.__main__") is not None, name

    def test_management_commands_are_known(self, page: Path):
        named = set(_MANAGEMENT.findall(page.read_text(encoding="utf-8")))

        assert named - get_commands().keys() == set()


class TestScripts:
    def test_all_are_told_of(self):
        told = "".join(page.read_text(encoding="utf-8") for page in pages.list_pages())
        scripts = [path for path in (pages.CHECKOUT / "script").iterdir() if not path.suffix]

        assert [path.name for path in scripts if f"script/{path.name}" not in told] == []
