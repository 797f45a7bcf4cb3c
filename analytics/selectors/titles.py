"""Whose run-up something is about, and which one, as it stands on paper."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, LiteralString
from uuid import UUID

from athletes import selectors as athlete_selectors
from clubs.selectors import Caller
from common import prepared
from common.errors import NotFoundError


@dataclass(frozen=True, slots=True)
class Title:
    """A run-up, its athlete, and since when its plan holds; None where none is in force."""

    athlete_code: str
    given_name: str
    family_name: str
    take_off_foot: str | None
    approach_code: str
    event: str
    start_style: str
    steps: int
    valid_from: datetime | None

    @property
    def name(self) -> str:
        return f"{self.given_name} {self.family_name}"


_TITLE = """
    SELECT t.code, t.given_name, t.family_name, t.take_off_foot,
           a.code, a.event, a.start_style, a.steps, now.valid_from
      FROM approaches_approach AS a
      JOIN athletes_athlete AS t ON t.club_id = a.club_id AND t.id = a.athlete_id
      LEFT JOIN LATERAL (
           SELECT p.valid_from FROM approaches_plan AS p
            WHERE p.club_id = a.club_id AND p.approach_id = a.id AND p.valid_from <= now()
            ORDER BY p.revision DESC LIMIT 1
           ) AS now ON true
     WHERE a.id = %s
"""


def read_title_for(caller: Caller, approach_id: UUID, *, today: date) -> Title:
    """Return what stands above the paper of a run-up that the caller may see.

    Raises
    ------
    NotFoundError
        There is no such approach, or it is a stranger's.
    """
    query: LiteralString = _TITLE
    parameters: tuple[Any, ...] = (approach_id,)
    limits = athlete_selectors.find_limits_of(caller, today=today)
    if limits is not None:
        query = f"{query} AND a.athlete_id IN ({limits.query})"
        parameters += limits.parameters
    title = prepared.find_row(query, parameters, make=Title)
    if title is None:
        raise NotFoundError
    return title
