"""Published values that the core is held against; each file says where its values come from."""

import csv
from pathlib import Path

_FOLDER = Path(__file__).parent / "reference"


def read_table(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of reference values."""
    lines = (_FOLDER / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))
