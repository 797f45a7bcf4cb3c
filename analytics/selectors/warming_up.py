"""Which run-ups are warmed up for in a session, and which sessions were competitions."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, LiteralString
from uuid import UUID

from athletes import selectors as athlete_selectors
from clubs.selectors import Caller
from common import prepared


@dataclass(frozen=True, slots=True)
class WarmingUp:
    """A run-up that is warmed up for."""

    approach_id: UUID
    athlete_id: UUID
    athlete_code: str


_RUN_UPS = """
    SELECT a.id, a.athlete_id, t.code
      FROM approaches_approach AS a
      JOIN athletes_athlete AS t ON t.club_id = a.club_id AND t.id = a.athlete_id
"""
_IN_SESSION = """
     WHERE a.id IN (SELECT r.approach_id FROM approaches_attempt AS r
                     WHERE r.session_id = %s AND r.finish = 'run_through'
                       AND r.voided_at IS NULL AND r.left_out IS NULL)
"""
_COMPETITIONS = "SELECT id FROM approaches_session WHERE id = ANY(%s) AND kind = 'competition'"


def list_warming_up_for(
    caller: Caller, session_id: UUID, *, approach_id: UUID | None, today: date
) -> list[WarmingUp]:
    """Return the one run-up, or those run through in a session, of athletes the caller may see."""
    query: LiteralString = _RUN_UPS
    if approach_id is None:
        query = f"{query} {_IN_SESSION}"
        parameters: tuple[Any, ...] = (session_id,)
    else:
        query = f"{query} WHERE a.id = %s"
        parameters = (approach_id,)
    limits = athlete_selectors.find_limits_of(caller, today=today)
    if limits is not None:
        query = f"{query} AND a.athlete_id IN ({limits.query})"
        parameters += limits.parameters
    return prepared.read_rows(f"{query} ORDER BY t.code, a.id", parameters, make=WarmingUp)


def find_competitions(session_ids: Sequence[UUID]) -> frozenset[UUID]:
    """Return which of the sessions are competitions."""
    found = prepared.read_rows(_COMPETITIONS, (list(set(session_ids)),), make=lambda each: each)
    return frozenset(found)
