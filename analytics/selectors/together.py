"""What is stored of several run-ups, for whoever looks at a whole session: few queries for all."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, LiteralString
from uuid import UUID

from analytics.selectors.bodies import HEIGHTS, Body, body_of
from analytics.selectors.run_ups import (
    COLUMNS,
    COUNTS,
    Head,
    RunUps,
    plan_ids_of,
    read_marks,
    run_ups_of,
)
from analytics.selectors.series import Series
from approaches.models import FinishClass
from athletes import selectors as athlete_selectors
from clubs.selectors import Caller
from common import prepared
from common.errors import NotFoundError


@dataclass(frozen=True, slots=True)
class Runner:
    """Whose a run-up is. The body knows of no jumps: they are read where load is asked for."""

    athlete_id: UUID
    athlete_code: str
    body: Body


@dataclass(frozen=True, slots=True)
class Together:
    """Several run-ups: whose each is, by id, and the latest attempts of each of their series."""

    runners: Mapping[UUID, Runner]
    run_ups: Mapping[Series, RunUps]


_HEADS: LiteralString = f"""
    SELECT a.id, a.athlete_id, t.code, t.shoe_length_m, now.id,
           t.birth_date, a.event, a.steps, now.valid_from, {HEIGHTS}
      FROM approaches_approach AS a
      JOIN athletes_athlete AS t ON t.club_id = a.club_id AND t.id = a.athlete_id
      LEFT JOIN LATERAL (
           SELECT p.id, p.valid_from FROM approaches_plan AS p
            WHERE p.club_id = a.club_id AND p.approach_id = a.id AND p.valid_from <= now()
            ORDER BY p.revision DESC LIMIT 1
           ) AS now ON true
     WHERE a.id = ANY(%s)
"""
# For each run-up as many of its latest attempts as are wanted of it.
_ATTEMPTS: LiteralString = f"""
    SELECT wanted.approach_id, latest.*
      FROM unnest(%s::uuid[], %s::int[]) AS wanted (approach_id, last)
     CROSS JOIN LATERAL (
           SELECT {COLUMNS} FROM approaches_attempt AS a
            WHERE a.approach_id = wanted.approach_id AND a.finish = ANY(%s) AND {COUNTS}
            ORDER BY a.started_at DESC, a.id DESC LIMIT wanted.last
           ) AS latest
     ORDER BY latest.started_at, latest.id
"""


def read_together_for(caller: Caller, last: Mapping[Series, int], *, today: date) -> Together:
    """Return of each series as many of the latest attempts as `last` says, and whose it is.

    The same as `read_run_ups_for` returns of each of them.

    Raises
    ------
    NotFoundError
        One of the run-ups is none, or a stranger's.
    """
    wanted = {each.approach_id for each in last}
    heads, runners = _read_heads(caller, wanted, today=today)
    if len(heads) < len(wanted):
        raise NotFoundError
    rows: dict[Series, list[tuple[Any, ...]]] = {each: [] for each in last}
    for finish_class in FinishClass:
        of_class = {each: n for each, n in last.items() if each.finish_class == finish_class}
        if of_class:
            _read_attempts(of_class, rows)
    plan_ids = {
        series: {heads[series.approach_id].plan_id, *plan_ids_of(attempts)}
        for series, attempts in rows.items()
    }
    plans = read_marks(set().union(*plan_ids.values()))
    return Together(
        runners=runners,
        run_ups={
            series: run_ups_of(
                series,
                heads[series.approach_id],
                attempts,
                {each: plans[each] for each in plan_ids[series] if each is not None},
            )
            for series, attempts in rows.items()
        },
    )


def _read_heads(
    caller: Caller, approach_ids: Collection[UUID], *, today: date
) -> tuple[dict[UUID, Head], dict[UUID, Runner]]:
    query: LiteralString = _HEADS
    parameters: tuple[Any, ...] = (today, today, list(approach_ids))
    limits = athlete_selectors.find_limits_of(caller, today=today)
    if limits is not None:
        query = f"{query} AND a.athlete_id IN ({limits.query})"
        parameters += limits.parameters
    heads, runners = {}, {}
    for columns in prepared.read_rows(query, parameters, make=lambda *columns: columns):
        id_, athlete_id, code, shoe_length_m, plan_id, *body = columns
        found = body_of(*body, today=today)
        heads[id_] = Head(steps=found.steps, shoe_length_m=shoe_length_m, plan_id=plan_id)
        runners[id_] = Runner(athlete_id, code, found)
    return heads, runners


def _read_attempts(
    last: Mapping[Series, int], rows: Mapping[Series, list[tuple[Any, ...]]]
) -> None:
    """Add the attempts of series of one finish class to the rows of each."""
    series_of = {each.approach_id: each for each in last}
    found = prepared.read_rows(
        _ATTEMPTS,
        (
            list(series_of),
            [last[each] for each in series_of.values()],
            next(iter(last)).finishes,
        ),
        make=lambda *columns: columns,
    )
    for approach_id, *columns in found:
        rows[series_of[approach_id]].append(tuple(columns))
