"""Every example that is marked to be executed works as printed."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.docs import pages
from tests.docs.conftest import Demo

WITH_EXAMPLES = [page for page in pages.list_pages() if pages.list_examples(page)]
PRINTED_BASE = "http://127.0.0.1:8000"
# Pages that tell one story: what they print is what is answered, not only in the same fields.
TO_THE_LETTER = {"docs/tutorial.md"}
# A refusal must not pass for an answer.
_STRICT = """
set -euo pipefail
curl() { command curl --fail-with-body --no-progress-meter "$@"; }
"""
_MARK = "==== end of an example ===="


def run_examples(page: Path, demo: Demo) -> list[str]:
    """Run the examples of a page one after the other in one shell, and return what each printed."""
    commands = [example.commands for example in pages.list_examples(page)]
    script = _STRICT + "".join(f"{each}\nprintf '\\n{_MARK}\\n'\n" for each in commands)
    # What a reader has installed for an example is among the packages that the tests run with.
    programs = f"{Path(sys.executable).parent}:{os.environ['PATH']}"
    done = subprocess.run(
        ["bash", "-c", script.replace(PRINTED_BASE, demo.base_url)],
        cwd=demo.folder,
        env={**os.environ, "PATH": programs},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, f"{done.stdout[-2000:]}\n{done.stderr[-2000:]}"
    return done.stdout.split(f"\n{_MARK}\n")[:-1]


def check_answer(printed: Any, real: Any, where: str = "") -> None:
    """Check that the real answer has every key that the page prints."""
    if isinstance(printed, dict):
        for key, inner in printed.items():
            assert key in real, f"{where}/{key}"
            check_answer(inner, real[key], f"{where}/{key}")
    elif isinstance(printed, list) and printed and real:
        check_answer(printed[0], real[0], f"{where}/0")


def check_story(printed: Any, real: Any, where: str = "") -> None:
    """Check values as well: numbers as far as they are printed, texts but for their "..."."""
    if isinstance(printed, dict):
        for key, inner in printed.items():
            check_story(inner, real[key], f"{where}/{key}")
    elif isinstance(printed, list):
        for place, inner in enumerate(printed):
            check_story(inner, real[place], f"{where}/{place}")
    elif isinstance(printed, float):
        decimals = len(str(printed).partition(".")[2])
        assert round(real, decimals) == printed, f"{where}: {real}"
    elif isinstance(printed, str):
        pattern = ".*".join(re.escape(part) for part in printed.split("..."))
        assert re.fullmatch(pattern, real), f"{where}: {real}"
    else:
        assert real == printed, f"{where}: {real}"


@pytest.mark.skipif(shutil.which("curl") is None, reason="the examples are for curl")
@pytest.mark.parametrize("page", WITH_EXAMPLES, ids=pages.name_of)
class TestExamples:
    def test_work_as_printed(self, page: Path, demo: Demo):
        outputs = run_examples(page, demo)

        for example, output in zip(pages.list_examples(page), outputs, strict=True):
            if example.answer is not None:
                printed, real = json.loads(example.answer), json.loads(output)
                check_answer(printed, real)
                if pages.name_of(page) in TO_THE_LETTER:
                    check_story(printed, real)


class TestStories:
    @pytest.mark.parametrize(
        ("printed", "real"),
        [
            ({"n": 20}, {"n": 21}),
            ({"sd_m": 0.04}, {"sd_m": 0.0451}),
            ({"text": "Move ... now."}, {"text": "Move it later."}),
            ([{"a": 1}, {"a": 2}], [{"a": 1}, {"a": 3}]),
            ({"open": True}, {"open": False}),
        ],
    )
    def test_tell_what_is_not_so(self, printed: Any, real: Any):
        with pytest.raises(AssertionError):
            check_story(printed, real)

    def test_may_be_shortened(self):
        check_story(
            {"sd_m": 0.04, "text": "Move ... now.", "inner": {}},
            {"sd_m": 0.0366, "text": "Move it now.", "inner": {"n": 3}, "more": 1},
        )


class TestMarks:
    def test_every_block_with_curl_is_executed(self):
        """An example that nobody runs is soon wrong."""
        executed = [
            each.commands for page in pages.list_pages() for each in pages.list_examples(page)
        ]
        blocks = [
            block
            for page in pages.list_pages()
            for block in re.findall(r"^```sh\n(.*?)^```$", page.read_text("utf-8"), re.M | re.S)
        ]

        assert [block for block in blocks if "curl " in block and block not in executed] == []

    def test_there_is_something_to_execute(self):
        assert pages.CHECKOUT / "README.md" in WITH_EXAMPLES
