"""Full jumps of an athlete from all their run-ups of one event, by the number of steps."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, LiteralString
from uuid import UUID

import numpy as np

from analytics.selectors.run_ups import BoolArray, FloatArray, IntArray, matrix_of, or_nan
from athletes import selectors as athlete_selectors
from clubs.selectors import Caller
from common import prepared
from common.errors import NotFoundError


@dataclass(frozen=True, eq=False)
class LengthAttempts:
    """Full jumps in order; every array has one entry for each.

    Attributes
    ----------
    steps_now, run_m
        Steps of the run-up that was asked about, and metres from its planned start mark.
    sprints
        The athlete's sprint tests, the latest first: how each began, metres and seconds.
    """

    approach_id: UUID
    steps_now: int
    run_m: float | None
    sprints: tuple[tuple[str, tuple[float, ...], tuple[float, ...]], ...]
    ids: tuple[UUID, ...]
    versions: tuple[int, ...]
    started_at: tuple[datetime, ...]
    changed_at: tuple[datetime, ...]
    session_ids: tuple[UUID, ...]
    steps: IntArray
    board_toe_m: FloatArray
    official_m: FloatArray
    gate_at_m: FloatArray
    gate_time_s: FloatArray

    def __len__(self) -> int:
        return len(self.ids)

    @property
    def key(self) -> tuple[Any, ...]:
        """Return what tells these attempts and sprints from any others."""
        now = (self.approach_id, self.steps_now, self.run_m, self.sprints)
        return (*now, self.ids, self.versions, tuple(self.steps.tolist()))

    @property
    def session_labels(self) -> IntArray:
        """A number for each session, in the order of the sessions."""
        numbers: dict[UUID, int] = {}
        labels = [numbers.setdefault(each, len(numbers)) for each in self.session_ids]
        return np.array(labels, dtype=np.int64)

    @property
    def is_scored(self) -> BoolArray:
        """Whether an attempt has an official distance and a measured toe."""
        return np.asarray((self.official_m > 0) & (self.board_toe_m >= 0))


_HEAD = """
    SELECT a.athlete_id, a.event, a.start_style, a.steps, now.start_mark_m
      FROM approaches_approach AS a
      LEFT JOIN LATERAL (
           SELECT p.start_mark_m FROM approaches_plan AS p
            WHERE p.club_id = a.club_id AND p.approach_id = a.id AND p.valid_from <= now()
            ORDER BY p.revision DESC LIMIT 1
           ) AS now ON true
     WHERE a.id = %s
"""
_ATTEMPTS = """
    SELECT a.id, a.version, a.started_at,
           CASE WHEN a.version = 1 THEN a.created_at
                ELSE greatest(a.created_at, (
                     SELECT max(v.replaced_at) FROM approaches_attemptversion AS v
                      WHERE v.club_id = a.club_id AND v.attempt_id = a.id)) END,
           a.session_id, r.steps, a.toe_m[1:1], a.official_m::float8, a.gate_at_m, a.gate_time_s
      FROM approaches_attempt AS a
      JOIN approaches_approach AS r ON r.club_id = a.club_id AND r.id = a.approach_id
     WHERE r.athlete_id = %s AND r.event = %s AND r.start_style = %s AND a.finish = 'jump'
       AND a.voided_at IS NULL AND a.left_out IS NULL
     ORDER BY a.started_at DESC, a.id DESC LIMIT %s
"""
_SPRINTS = """
    SELECT start, ARRAY(SELECT (e->>'at_m')::float8
                          FROM jsonb_array_elements(splits) WITH ORDINALITY AS s(e, o) ORDER BY o),
                  ARRAY(SELECT (e->>'time_s')::float8
                          FROM jsonb_array_elements(splits) WITH ORDINALITY AS s(e, o) ORDER BY o)
      FROM athletes_sprinttest
     WHERE athlete_id = %s AND tested_date <= %s
     ORDER BY tested_date DESC, id DESC LIMIT 10
"""


def read_lengths_for(
    caller: Caller, approach_id: UUID, *, last: int, today: date
) -> LengthAttempts:
    """Return the `last` full jumps of an athlete whom the caller may see, from any run-up.

    Of the event and the start style of the run-up that is asked about: others are not compared.

    Raises
    ------
    NotFoundError
        There is no such approach, or it is a stranger's.
    """
    query: LiteralString = _HEAD
    parameters: tuple[Any, ...] = (approach_id,)
    limits = athlete_selectors.find_limits_of(caller, today=today)
    if limits is not None:
        query = f"{query} AND a.athlete_id IN ({limits.query})"
        parameters += limits.parameters
    head = prepared.find_row(query, parameters, make=lambda *columns: columns)
    if head is None:
        raise NotFoundError
    athlete_id, event, start_style, steps_now, run_m = head
    rows = prepared.read_rows(
        _ATTEMPTS, (athlete_id, event, start_style, last), make=lambda *columns: columns
    )[::-1]
    sprints = prepared.read_rows(
        _SPRINTS,
        (athlete_id, today),
        make=lambda start, at_m, time_s: (start, tuple(at_m), tuple(time_s)),
    )
    columns: tuple[tuple[Any, ...], ...] = tuple(zip(*rows, strict=True)) if rows else ((),) * 10
    ids, versions, started_at, changed_at, sessions, steps, toe_m, officials, at_m, time_s = columns
    n_gates = max(map(len, at_m), default=0)
    return LengthAttempts(
        approach_id=approach_id,
        steps_now=steps_now,
        run_m=run_m,
        sprints=tuple(sprints),
        ids=ids,
        versions=versions,
        started_at=started_at,
        changed_at=changed_at,
        session_ids=sessions,
        steps=np.array(steps, dtype=np.int64),
        board_toe_m=matrix_of(toe_m, columns=1)[:, 0],
        official_m=or_nan(officials),
        gate_at_m=matrix_of(at_m, columns=n_gates),
        gate_time_s=matrix_of(time_s, columns=n_gates),
    )
