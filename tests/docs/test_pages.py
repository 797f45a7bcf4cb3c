"""The README says first what the product is for."""

from pathlib import Path

ROOT = Path(__file__).parent.parent.parent


def test_the_readme_opens_with_the_job():
    first = (ROOT / "README.md").read_text().split("\n\n")[1]
    assert first.startswith("A horizontal-jumps coach")
