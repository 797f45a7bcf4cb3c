"""A squad's season, as a worker answers it: one athlete after the other, then what is usual."""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from analytics import selectors
from analytics.answers import squad_season
from analytics.answers.squad_season import Line, SquadSeason
from analytics.answers.told import Told
from analytics.services import seasons
from analytics.services.figures import as_json
from analytics.services.method import METHOD
from athletes.models import Athlete
from clubs.models import Club
from common.club_scope import club_scope, current_club_id


@dataclass(frozen=True, slots=True)
class Read:
    """Whose season it is, and what tells it from any other."""

    club: Club
    athlete_ids: tuple[UUID, ...]
    fingerprints: tuple[tuple[Any, ...], ...]


def read(asked: Mapping[str, Any]) -> Read:
    """Return whose seasons are asked about; they are read one by one while it is worked out."""
    club_id = current_club_id()
    assert club_id is not None  # noqa: S101  # the framework opened the scope
    club = Club.objects.get(id=club_id)
    ids = tuple(UUID(each) for each in asked["athletes"])
    from_date, to_date = _days(asked)
    return Read(
        club=club,
        athlete_ids=ids,
        fingerprints=selectors.read_fingerprints(club, ids, from_date=from_date, to_date=to_date),
    )


def _days(asked: Mapping[str, Any]) -> tuple[date, date]:
    return date.fromisoformat(asked["from_date"]), date.fromisoformat(asked["to_date"])


def key_of(rows: Read) -> Hashable:
    """Return what tells what was measured from any other."""
    return (rows.athlete_ids, rows.fingerprints)


def work_out(
    rows: Read, asked: Mapping[str, Any], step: Callable[[int, int], None]
) -> dict[str, Any]:
    """Return the figures, each athlete read in a scope of its own."""
    lines: list[Line] = []
    changed: list[datetime] = []
    from_date, to_date = _days(asked)
    step(0, len(rows.athlete_ids))
    for place, athlete_id in enumerate(rows.athlete_ids, 1):
        with club_scope(rows.club, read_only=True):
            athlete = Athlete.objects.filter(id=athlete_id).first()
            season = (
                None
                if athlete is None  # whoever was erased meanwhile is in no report
                else selectors.read_season(rows.club, athlete, from_date=from_date, to_date=to_date)
            )
        if season is not None:
            lines.append(squad_season.line_of(seasons.work_out(season)))
            changed += [at for each in season.run_ups for at in each.run_ups.changed_at]
        step(place, len(rows.athlete_ids))
    return {
        "squad": asked["squad"],
        "from_date": asked["from_date"],
        "to_date": asked["to_date"],
        "as_of": max(changed, default=None),
        "n": sum(line.n for line in lines),
        "method": METHOD,
        **_figures(squad_season.work_out(lines)),
    }


def _figures(found: SquadSeason) -> dict[str, Any]:
    results = []
    for place, line in enumerate(found.lines):
        figures = as_json(line)
        del figures["block"]
        results.append(
            {
                **figures,
                "own": as_json(found.own[place]),
                "bias_m": as_json(found.bias[place]),
                "spread_m": as_json(found.spread[place]),
            }
        )
    return {
        "usual_spread_m": as_json(found.usual_spread),
        "usual_bias_m": as_json(found.usual_bias),
        "results": results,
    }


def tell(stored: Mapping[str, Any]) -> Told:
    """Say stored figures in words."""
    return squad_season.tell(stored)
