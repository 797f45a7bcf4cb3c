"""Write the session that the sample script pushes: python -m fixtures_demo.session_file."""

from __future__ import annotations

import copy
import json
import sys
from pathlib import Path
from typing import Any

from fixtures_demo import season

SESSION_FILE = Path(__file__).with_name("session.jsonl")


def session_lines() -> list[str]:
    """Return the lines of the file: a morning at the runway, four rows of it bad."""
    rows = season.pushed_session()
    for place, spoil in ((7, _unknown_athlete), (16, _footfalls_out_of_order)):
        rows.insert(place, spoil(rows[place - 1]))
    measured = next(row for row in rows[20:] if row["outcome"] == "valid")
    rows.insert(25, _distance_of_no_jump(measured))
    rows.insert(34, _no_start_time(rows[33]))
    return [json.dumps(row, separators=(",", ":")) for row in rows]


def _copied(row: dict[str, Any], reason: str) -> dict[str, Any]:
    return copy.deepcopy(row) | {"external_id": f"{row['external_id']}-{reason}"}


def _unknown_athlete(row: dict[str, Any]) -> dict[str, Any]:
    """Return a guest's attempt, whom the club does not know."""
    return _copied(row, "guest") | {"athlete": "ext:A-99"}


def _footfalls_out_of_order(row: dict[str, Any]) -> dict[str, Any]:
    """Return an attempt whose second and third footfall the laser took for each other."""
    bad = _copied(row, "laser")
    toe_m = bad["footfalls"]["toe_m"]
    toe_m[2], toe_m[3] = toe_m[3], toe_m[2]
    return bad


def _distance_of_no_jump(row: dict[str, Any]) -> dict[str, Any]:
    """Return an attempt that was called a no jump after the distance had been typed."""
    return _copied(row, "called") | {"outcome": "no_jump"}


def _no_start_time(row: dict[str, Any]) -> dict[str, Any]:
    bad = _copied(row, "clock")
    del bad["started_at"]
    return bad


if __name__ == "__main__":
    lines = session_lines()
    SESSION_FILE.write_text("".join(f"{line}\n" for line in lines), encoding="utf-8")
    print(f"{SESSION_FILE.name}: {len(lines)} rows", file=sys.stderr)
