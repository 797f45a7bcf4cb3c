"""What has no place in any file of the repository.

The patterns are written so that they do not match themselves.
"""

import re
from pathlib import Path

import pytest

from tests.docs import pages

# About 450 lines; a docstring more must not split a file.
LONGEST_FILE_LINES = 475
_NOT_FOR_READING = {".mo", ".png", ".ico", ".woff2", ".gz", ".pdf"}

MACHINE_PATHS = re.compile(r"(?<![\w.$}{~-])/(?:work|farm|root|home|Users)/[\w.]")
# Where packages come from is a setting of each machine, and no part of a lock file.
REGISTRIES = re.compile(
    r"pyp[i][.]org|pythonhost[e]d[.]|--(?:extra-)?index[-]url |npm[j]s[.]|gopro[x]y|proxy[.]golang"
)
# Penult speaks of itself and of its field alone.
FOREIGN = re.compile(
    r"\b(?:transcri[p]ts?|vid[e]os?|podca[s]ts?|youtu[b]e|practition[e]rs?|langu[a]ge model"
    r"|sub-?ag[e]nts?|chat[g]pt|as an a[i])\b|\bto[-]do:|\bTO[D]O\b|\bFIX[M]E\b",
    re.I,
)


def lines_with(pattern: re.Pattern[str]) -> list[str]:
    found = []
    for path in pages.list_tracked_files():
        if path.suffix in _NOT_FOR_READING:
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            if pattern.search(line):
                found.append(f"{pages.name_of(path)}:{number}: {line.strip()[:100]}")
    return found


class TestWording:
    def test_names_no_path_of_a_machine(self):
        assert lines_with(MACHINE_PATHS) == []

    def test_names_no_address_of_a_registry(self):
        assert lines_with(REGISTRIES) == []

    def test_speaks_of_itself_and_its_field_alone(self):
        assert lines_with(FOREIGN) == []

    @pytest.mark.parametrize(
        ("pattern", "line"),
        [
            (MACHINE_PATHS, "see " + "/".join(["", "home", "somebody", "notes"])),
            (REGISTRIES, "--index" + "-url https://packages.example/simple"),
            (FOREIGN, "as seen in the vid" + "eo"),
        ],
    )
    def test_the_patterns_find_what_they_are_for(self, pattern: re.Pattern[str], line: str):
        assert pattern.search(line)


class TestFiles:
    def test_stay_short_enough_to_read(self):
        """A file has one subject; what is made by a program or is a table may be longer."""
        long = [
            pages.name_of(path)
            for path in pages.list_tracked_files()
            if path.suffix == ".py"
            and "migrations" not in path.parts
            and len(path.read_text(encoding="utf-8").splitlines()) > LONGEST_FILE_LINES
        ]

        assert long == []

    def test_pages_are_text_in_utf_8_that_ends_with_a_line_break(self):
        for page in pages.list_pages():
            assert Path(page).read_text(encoding="utf-8").endswith("\n"), pages.name_of(page)
