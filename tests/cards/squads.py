"""Answers about squads for tests, as they are after they were stored, with real words."""

from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

import msgspec
import numpy as np

from analytics.answers import squad_season
from analytics.answers.season_run_up import Share
from analytics.answers.squad_season import Line
from analytics.core import comparing
from analytics.core.conventions import Interval, NotEnoughAttempts
from analytics.services import squad_seasons
from analytics.services.figures import as_json

TOO_FEW = NotEnoughAttempts(n=4, needed=comparing.MIN_MEASURED)


def make_line(place: int, *, is_new: bool = False, **fields: Any) -> Line:
    """Return the season of an athlete who lands about 6 cm behind the line, or of a newcomer."""
    rng = np.random.default_rng(place)
    n = 6 + 3 * (place % 9)
    toes = rng.normal(0.06, 0.05 + 0.01 * (place % 5), n)
    block = comparing.block_figures(
        toes,
        toes < 0,
        aim_m=np.full(n, 0.04),
        revision=np.ones(n, dtype=np.int64),
        session=np.arange(n) // 3,
    )
    return Line(
        **{
            "athlete": UUID(int=place),
            "athlete_code": f"A-{place:02}",
            "approach_code": "LJ-16",
            "event": "long_jump",
            "steps": 16,
            "n": 4 if is_new else n,
            "n_sessions": 2 if is_new else n // 3,
            "n_competitions": place % 3,
            "block": TOO_FEW if is_new else block,
            "on_board": None if is_new else Share(20, 13, 0.65, Interval(0.43, 0.82, 0.95)),
            "no_jumps": None if is_new else Share(20, 3, 0.15, Interval(0.05, 0.36, 0.95)),
            "spread_shown": None if is_new else ("lower", "higher", "not_shown")[place % 3],
            "best_m": None if is_new else 5.16,
            "grown_m": None if is_new else 0.035,
            "most_in_session": 8,
            "most_in_week": 14,
            **fields,
        }
    )


def make_answer(*lines: Line, as_of: datetime | None = None) -> dict[str, Any]:
    figures = as_json(
        {
            "from_date": date(2025, 10, 4),
            "to_date": date(2026, 10, 3),
            "as_of": as_of or datetime(2026, 10, 3, 12, tzinfo=UTC),
            "n": sum(each.n for each in lines),
            **squad_seasons._figures(squad_season.work_out(lines)),
        }
    )
    stored: dict[str, Any] = msgspec.to_builtins(figures)
    return stored


def told(stored: dict[str, Any]) -> dict[str, Any]:
    """Return a stored answer with its words, in the language that is in use."""
    return stored | as_json(squad_season.tell(stored))
