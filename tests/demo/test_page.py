"""The page about the demo club says what the club is."""

from pathlib import Path

import pytest

from fixtures_demo.cast import JUMPERS
from fixtures_demo.jumpers import Jumper
from fixtures_demo.season import history, meetings

PAGE = (Path(__file__).parent.parent.parent / "docs" / "demo.md").read_text(encoding="utf-8")


class TestPage:
    @pytest.mark.parametrize("jumper", JUMPERS, ids=lambda jumper: jumper.code)
    def test_tells_each_story(self, jumper: Jumper):
        (row,) = [line for line in PAGE.splitlines() if line.startswith(f"| {jumper.code} |")]
        cells = [cell.strip() for cell in row.strip("|").split("|")]

        assert cells == [
            jumper.code,
            f"{jumper.given_name} {jumper.family_name}, {jumper.birth_date.year}",
            jumper.squad,
            jumper.approach_code,
            jumper.story,
            ", ".join(sorted(jumper.raises)).replace("_", " ") or "-",
        ]

    def test_counts_sessions_and_attempts(self):
        attempts = sum(len(history(jumper)) for jumper in JUMPERS)

        assert f"about {round(attempts, -2):,} attempts in {len(meetings())} sessions" in PAGE
