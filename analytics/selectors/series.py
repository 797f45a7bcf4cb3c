"""The attempts of a series, as arrays."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
import numpy.typing as npt
from django.db import connection

from analytics.core.conventions import DEFAULT_AIM_M
from approaches.models import FINISHES_OF_CLASS, FinishClass, Outcome


@dataclass(frozen=True, slots=True)
class Series:
    """Attempts that may be compared: one approach, one finish class."""

    approach_id: UUID
    finish_class: FinishClass

    @property
    def finishes(self) -> list[str]:
        return [finish.value for finish in FINISHES_OF_CLASS[self.finish_class]]


@dataclass(frozen=True, slots=True)
class SeriesAttempts:
    """Attempts of a series in order; every array has one entry for each."""

    ids: list[UUID]
    started_at: list[datetime]
    plan_ids: list[UUID | None]
    revisions: npt.NDArray[np.int64]  # plan revision, 0 before the first plan
    session_ids: list[UUID]
    board_toe_m: npt.NDArray[np.float64]
    no_jump: npt.NDArray[np.bool_]
    aim_m: npt.NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.ids)

    def __getitem__(self, part: slice) -> "SeriesAttempts":
        return SeriesAttempts(
            ids=self.ids[part],
            started_at=self.started_at[part],
            plan_ids=self.plan_ids[part],
            revisions=self.revisions[part],
            session_ids=self.session_ids[part],
            board_toe_m=self.board_toe_m[part],
            no_jump=self.no_jump[part],
            aim_m=self.aim_m[part],
        )

    @property
    def session_labels(self) -> npt.NDArray[np.int64]:
        """Return a number for each session, the same for the same session."""
        numbers: dict[UUID, int] = {}
        return np.array(
            [numbers.setdefault(session_id, len(numbers)) for session_id in self.session_ids],
            dtype=np.int64,
        )


@dataclass(frozen=True, slots=True)
class LastMetres:
    """How the attempts of a series came to the board; every array has one row for each."""

    toe_m: npt.NDArray[np.float64]  # of footfalls 0 to 3
    touchdown_s: npt.NDArray[np.float64]
    gate_at_m: npt.NDArray[np.float64]
    gate_time_s: npt.NDArray[np.float64]


_IN_SERIES = """
      FROM approaches_attempt AS a LEFT JOIN approaches_plan AS p
           ON p.club_id = a.club_id AND p.id = a.plan_id
     WHERE a.approach_id = %s AND a.finish = ANY(%s)
       AND a.voided_at IS NULL AND a.left_out IS NULL
"""
_COLUMNS = """
    SELECT a.id, a.started_at, a.plan_id, p.revision, a.session_id, a.toe_m[1], a.outcome, p.aim_m
"""
_FOOTFALLS_OF_LAST_STEPS = 4
_WITH_LAST_METRES = f"""
    {_COLUMNS}, a.toe_m[:{_FOOTFALLS_OF_LAST_STEPS}], a.touchdown_s[:{_FOOTFALLS_OF_LAST_STEPS}],
           a.gate_at_m, a.gate_time_s
"""


def read_series(
    series: Series, *, since: datetime | None = None, before_that: int = 0
) -> SeriesAttempts:
    """Return the attempts of a series that started at or after `since`, and some before.

    `before_that` is how many earlier ones are read too, for windows that reach back. The cost
    depends on what is returned, not on how long the series is.
    """
    return _as_attempts(_read_rows(_COLUMNS, series, since=since, before_that=before_that))


def read_series_with_last_metres(
    series: Series, *, since: datetime | None = None, before_that: int = 0
) -> tuple[SeriesAttempts, LastMetres]:
    """Return the attempts of `read_series` and how they came to the board, by the same query."""
    rows = _read_rows(_WITH_LAST_METRES, series, since=since, before_that=before_that)
    toe_m, touchdown_s, gate_at_m, gate_time_s = (
        [row[place] for row in rows] for place in (8, 9, 10, 11)
    )
    return _as_attempts(rows), LastMetres(
        toe_m=_as_matrix(toe_m, least=_FOOTFALLS_OF_LAST_STEPS),
        touchdown_s=_as_matrix(touchdown_s, least=_FOOTFALLS_OF_LAST_STEPS),
        gate_at_m=_as_matrix(gate_at_m),
        gate_time_s=_as_matrix(gate_time_s),
    )


def _read_rows(
    columns: str, series: Series, *, since: datetime | None, before_that: int
) -> list[tuple[Any, ...]]:
    rows: list[tuple[Any, ...]] = []
    with connection.cursor() as cursor:
        if since is not None and before_that:
            cursor.execute(
                f"{columns} {_IN_SERIES} AND a.started_at < %s"
                " ORDER BY a.started_at DESC, a.id DESC LIMIT %s",
                [series.approach_id, series.finishes, since, before_that],
            )
            rows = cursor.fetchall()[::-1]
        cursor.execute(
            f"{columns} {_IN_SERIES} {'' if since is None else 'AND a.started_at >= %s'}"
            " ORDER BY a.started_at, a.id",
            [series.approach_id, series.finishes, *([] if since is None else [since])],
        )
        rows += cursor.fetchall()
    return rows


def _as_matrix(rows: Sequence[Sequence[float]], *, least: int = 0) -> npt.NDArray[np.float64]:
    """Return one row for each, as long as the longest and at least `least`; the rest is NaN."""
    longest = max([least, *(len(row) for row in rows)])
    matrix = np.full((len(rows), longest), np.nan)
    for place, row in enumerate(rows):
        matrix[place, : len(row)] = row
    return matrix


def _as_attempts(rows: Sequence[tuple[Any, ...]]) -> SeriesAttempts:
    return SeriesAttempts(
        ids=[row[0] for row in rows],
        started_at=[row[1] for row in rows],
        plan_ids=[row[2] for row in rows],
        revisions=np.array([row[3] or 0 for row in rows], dtype=np.int64),
        session_ids=[row[4] for row in rows],
        board_toe_m=np.array([row[5] for row in rows], dtype=np.float64),
        no_jump=np.array([row[6] == Outcome.NO_JUMP.value for row in rows], dtype=np.bool_),
        aim_m=np.array(
            [DEFAULT_AIM_M if row[7] is None else row[7] for row in rows], dtype=np.float64
        ),
    )


def list_sessions_since(series: Series, since: datetime) -> list[UUID]:
    """Return the sessions in which the series has an attempt at or after `since`."""
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT DISTINCT a.session_id {_IN_SERIES} AND a.started_at >= %s",
            [series.approach_id, series.finishes, since],
        )
        return [session_id for (session_id,) in cursor.fetchall()]


def find_first_open(series: Series, since: datetime) -> tuple[datetime, datetime] | None:
    """Return when the first session with attempts from `since` on began, and its latest attempt.

    Sessions are told apart by plan revision, too. The database adds them up, so a session of
    thousands of attempts costs no more to ask about than one of ten.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT min(a.started_at), max(a.started_at) {_IN_SERIES} AND a.started_at >= %s"
            " GROUP BY a.session_id, a.plan_id ORDER BY 1, a.session_id LIMIT 1",
            [series.approach_id, series.finishes, since],
        )
        found: tuple[datetime, datetime] | None = cursor.fetchone()
        return found


def read_footfalls(attempt_ids: Sequence[UUID]) -> npt.NDArray[np.float64]:
    """Return the footfall positions of the attempts, one row each in the order given.

    Rows are as long as the longest; what was not measured is NaN.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT id, toe_m FROM approaches_attempt WHERE id = ANY(%s)", [list(attempt_ids)]
        )
        found = dict(cursor.fetchall())
    return _as_matrix([found[attempt_id] for attempt_id in attempt_ids])


def read_latest(series: Series, n: int) -> SeriesAttempts:
    """Return the last `n` attempts of a series, in order."""
    with connection.cursor() as cursor:
        cursor.execute(
            f"{_COLUMNS} {_IN_SERIES} ORDER BY a.started_at DESC, a.id DESC LIMIT %s",
            [series.approach_id, series.finishes, n],
        )
        return _as_attempts(cursor.fetchall()[::-1])


def list_series() -> list[Series]:
    """Return every series of the club in scope that has an attempt."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT DISTINCT approach_id, finish FROM approaches_attempt"
            " UNION SELECT approach_id, finish_class FROM analytics_seriesstate"
        )
        found = cursor.fetchall()
    return sorted(
        {
            Series(approach_id, finish_class)
            for approach_id, finish in found
            for finish_class, finishes in FINISHES_OF_CLASS.items()
            if finish in {*(each.value for each in finishes), finish_class.value}
        },
        key=lambda series: (series.approach_id, series.finish_class.value),
    )
