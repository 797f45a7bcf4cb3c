"""What is known of the athlete of a run-up: age, heights, and how much was jumped."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, LiteralString
from uuid import UUID

from athletes import selectors as athlete_selectors
from clubs.selectors import Caller
from common import prepared
from common.errors import NotFoundError

# Jumps of longer ago say nothing of the load of now, and whoever jumped none since is rested.
_LOOK_BACK = timedelta(days=365)
_DAYS_OF_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class Body:
    """What is known of an athlete today. Days are counted as `date.toordinal` does.

    Attributes
    ----------
    plan_day
        When the marks of the run-up were set; None without a plan.
    heights
        Day and height, metres.
    jumps
        Day and session of each full jump from a run-up of as many steps or more.
    going_on
        Sessions of today or later: not over yet.
    """

    today: int
    age_years: float
    event: str
    steps: int
    plan_day: int | None
    heights: tuple[tuple[int, float], ...]
    jumps: tuple[tuple[int, UUID], ...]
    going_on: frozenset[UUID]


# Columns of an athlete t: the days on which the height was measured, up to a day, and the heights.
HEIGHTS: LiteralString = """
           ARRAY(SELECT m.measured_date FROM athletes_bodymeasurement AS m
                  WHERE m.club_id = t.club_id AND m.athlete_id = t.id AND m.measured_date <= %s
                  ORDER BY m.measured_date, m.id),
           ARRAY(SELECT m.height_m FROM athletes_bodymeasurement AS m
                  WHERE m.club_id = t.club_id AND m.athlete_id = t.id AND m.measured_date <= %s
                  ORDER BY m.measured_date, m.id)
"""
_ATHLETE: LiteralString = f"""
    SELECT t.id, t.birth_date, a.event, a.steps, now.valid_from, {HEIGHTS}
      FROM approaches_approach AS a
      JOIN athletes_athlete AS t ON t.club_id = a.club_id AND t.id = a.athlete_id
      LEFT JOIN LATERAL (
           SELECT p.valid_from FROM approaches_plan AS p
            WHERE p.club_id = a.club_id AND p.approach_id = a.id AND p.valid_from <= now()
            ORDER BY p.revision DESC LIMIT 1
           ) AS now ON true
     WHERE a.id = %s
"""
# A no jump loads the body as well; who baulked did not land.
_JUMPS = """
    SELECT s.held_date, a.session_id
      FROM approaches_attempt AS a
      JOIN approaches_session AS s ON s.club_id = a.club_id AND s.id = a.session_id
      JOIN approaches_approach AS r ON r.club_id = a.club_id AND r.id = a.approach_id
     WHERE a.athlete_id = %s AND a.finish = 'jump' AND a.outcome <> 'baulk'
       AND a.voided_at IS NULL AND a.left_out IS DISTINCT FROM 'partial'
       AND a.left_out IS DISTINCT FROM 'baulk'
       AND r.steps >= %s AND s.held_date > %s
     ORDER BY s.held_date, a.started_at, a.id
"""


def read_body_for(
    caller: Caller, approach_id: UUID, *, today: date, with_jumps: bool = True
) -> Body:
    """Return what is known of the athlete of a run-up that the caller may see.

    Without `with_jumps` it knows of none: a year of them is read for nothing where only growth
    matters.

    Raises
    ------
    NotFoundError
        There is no such approach, or it is a stranger's.
    """
    query: LiteralString = _ATHLETE
    parameters: tuple[Any, ...] = (today, today, approach_id)
    limits = athlete_selectors.find_limits_of(caller, today=today)
    if limits is not None:
        query = f"{query} AND a.athlete_id IN ({limits.query})"
        parameters += limits.parameters
    return _read_body(query, parameters, today=today, with_jumps=with_jumps)


def read_body(approach_id: UUID, *, today: date) -> Body:
    """Return what is known of the athlete of a run-up of the club in scope, jumps left out.

    Raises
    ------
    NotFoundError
        There is no such approach.
    """
    return _read_body(_ATHLETE, (today, today, approach_id), today=today, with_jumps=False)


def _read_body(
    query: LiteralString, parameters: tuple[Any, ...], *, today: date, with_jumps: bool
) -> Body:
    head = prepared.find_row(query, parameters, make=lambda *columns: columns)
    if head is None:
        raise NotFoundError
    athlete_id, birth_date, event, steps, *rest = head
    jumps: list[tuple[int, UUID]] = []
    if with_jumps:
        jumps = prepared.read_rows(
            _JUMPS,
            (athlete_id, steps, today - _LOOK_BACK),
            make=lambda day, session_id: (day.toordinal(), session_id),
        )
    return body_of(birth_date, event, steps, *rest, today=today, jumps=jumps)


def body_of(
    birth_date: date,
    event: str,
    steps: int,
    valid_from: datetime | None,
    days: Sequence[date],
    heights_m: Sequence[float],
    *,
    today: date,
    jumps: Sequence[tuple[int, UUID]] = (),
) -> Body:
    """Return a body, given its columns: the last two are `HEIGHTS`."""
    return Body(
        today=today.toordinal(),
        age_years=(today - birth_date).days / _DAYS_OF_YEAR,
        event=event,
        steps=steps,
        plan_day=None if valid_from is None else valid_from.date().toordinal(),
        heights=heights_of(days, heights_m),
        jumps=tuple(jumps),
        going_on=frozenset(session for day, session in jumps if day >= today.toordinal()),
    )


def heights_of(days: Sequence[date], heights_m: Sequence[float]) -> tuple[tuple[int, float], ...]:
    """Return the columns of `HEIGHTS` as pairs, each day as `date.toordinal` counts it."""
    return tuple((day.toordinal(), height_m) for day, height_m in zip(days, heights_m, strict=True))
