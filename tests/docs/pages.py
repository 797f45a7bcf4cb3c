"""The pages that people read, and what is found in them."""

import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]
EXECUTED = "<!-- executed -->"

_FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.M | re.S)
_HEADING = re.compile(r"^#+ (.+)$", re.M)


def list_pages() -> list[Path]:
    """Return every page under the top level and docs/."""
    pages = [*CHECKOUT.glob("*.md"), *(CHECKOUT / "docs").rglob("*.md")]
    return sorted(page for page in pages if page.is_file())


def name_of(page: Path) -> str:
    return str(page.relative_to(CHECKOUT))


def list_tracked_files() -> list[Path]:
    """Return every file that belongs to the repository."""
    listed = subprocess.run(
        # The checkout may belong to another account than the one that runs the tests.
        ["git", "-c", f"safe.directory={CHECKOUT}", "ls-files", "-z"],
        cwd=CHECKOUT,
        capture_output=True,
        text=True,
        check=True,
    )
    paths = [CHECKOUT / name for name in listed.stdout.split("\0") if name]
    return [path for path in paths if path.is_file()]


def prose_of(page: Path) -> str:
    """Return a page without its blocks of code."""
    return _FENCE.sub("", page.read_text(encoding="utf-8"))


def anchors_of(page: Path) -> set[str]:
    """Return what a link may name behind its #, as hosts of Markdown pages make it of headings."""
    return {
        re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")
        for heading in _HEADING.findall(prose_of(page))
    }


@dataclass(frozen=True)
class Example:
    """A block of shell commands, and the JSON that stands below it as its answer."""

    commands: str
    answer: str | None


def list_examples(page: Path) -> list[Example]:
    """Return the shell blocks of a page that are marked to be executed."""
    text = page.read_text(encoding="utf-8")
    blocks = list(_FENCE.finditer(text))
    following = [*blocks[1:], None]  # one too many on a page without blocks
    return [
        Example(
            block[2], next_block[2] if next_block and _answers(text, block, next_block) else None
        )
        for block, next_block in zip(blocks, following, strict=False)
        if text[: block.start()].rstrip().endswith(EXECUTED)
    ]


def _answers(text: str, block: re.Match[str], next_block: re.Match[str]) -> bool:
    """Answer whether a block of JSON stands right below another block."""
    return next_block[1] == "json" and not text[block.end() : next_block.start()].strip()
