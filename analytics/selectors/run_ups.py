"""Everything that was measured of the latest run-ups of a series, and what was planned for them."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property
from typing import Any, LiteralString
from uuid import UUID

import msgspec
import numpy as np
import numpy.typing as npt

from analytics.core.conventions import DEFAULT_AIM_M
from analytics.selectors.series import Series
from approaches.models import Finish, FinishClass, Outcome
from athletes import selectors as athlete_selectors
from clubs.selectors import Caller
from common import prepared
from common.errors import NotFoundError

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]


class CheckMark(msgspec.Struct, frozen=True):
    """A mark beside the runway that a footfall should meet."""

    footfall: int
    at_m: float


_check_marks = msgspec.json.Decoder(tuple[CheckMark, ...])


@dataclass(frozen=True, eq=False)
class Marks:
    """What one revision of a plan says."""

    id: UUID
    revision: int
    start_mark_m: float
    aim_m: float
    check_marks: tuple[CheckMark, ...]
    transition_footfall: int | None
    attack_footfall: int | None
    toe_m: FloatArray | None  # by footfall, 0 the take-off foot; None where nothing is planned
    last_contacts: tuple[str, ...]  # third-last to last; () for the usual ones

    def planned_m(self, footfall: int) -> float | None:
        """Return where the plan puts a footfall; a check mark goes before a planned footfall."""
        for mark in self.check_marks:
            if mark.footfall == footfall:
                return mark.at_m
        if self.toe_m is None or footfall >= self.toe_m.size:
            return None
        return float(self.toe_m[footfall])


@dataclass(frozen=True, eq=False)
class RunUps:
    """The latest attempts of a series in order; every array has one row for each.

    Columns of footfalls are by k, from 0, the take-off foot, to the number of steps, where the run
    began. What was not measured is NaN.
    """

    series: Series
    steps: int
    shoe_length_m: float | None
    marks_now: Marks | None  # in force at the moment
    marks: Mapping[UUID, Marks]  # those that the attempts were made under
    ids: Sequence[UUID]
    versions: Sequence[int]
    started_at: Sequence[datetime]
    changed_at: Sequence[datetime]  # stored, or corrected since
    plan_ids: Sequence[UUID | None]
    session_ids: Sequence[UUID]
    is_jump: BoolArray  # a full jump, no pop-up and no run-through
    no_jump: BoolArray
    toe_m: FloatArray
    touchdown_s: FloatArray
    toe_off_s: FloatArray
    contacts: Sequence[tuple[str | None, ...]]  # of footfalls 2, 1 and 0
    start_mark_m: FloatArray  # as it was used; where nobody said so, that of the plan
    wind_mps: FloatArray
    official_m: FloatArray
    gate_at_m: FloatArray  # in the order passed; as many columns as the most gates of an attempt
    gate_time_s: FloatArray

    def __len__(self) -> int:
        return len(self.ids)

    def __getitem__(self, part: slice) -> "RunUps":
        """Return some neighbouring attempts."""
        return replace(self, **{name: getattr(self, name)[part] for name in _OF_EACH})

    def those(self, chosen: BoolArray) -> "RunUps":
        """Return some of the attempts, in order."""
        places = np.flatnonzero(chosen)
        picked: dict[str, Any] = {}
        for name in _OF_EACH:
            values = getattr(self, name)
            is_array = isinstance(values, np.ndarray)
            picked[name] = values[places] if is_array else [values[place] for place in places]
        return replace(self, **picked)

    @property
    def key(self) -> tuple[Any, ...]:
        """Return what tells these attempts from any others: rows with their versions.

        A plan never changes, and the database counts every change of an attempt.
        """
        now = None if self.marks_now is None else self.marks_now.id
        return (self.series, self.steps, self.shoe_length_m, now, *self.ids, *self.versions)

    @cached_property
    def revisions(self) -> IntArray:
        """The plan revision of each attempt, 0 before the first plan."""
        return np.array(
            [0 if each is None else self.marks[each].revision for each in self.plan_ids],
            dtype=np.int64,
        )

    @cached_property
    def aim_m(self) -> FloatArray:
        """The aim of each attempt."""
        return np.array(
            [DEFAULT_AIM_M if each is None else self.marks[each].aim_m for each in self.plan_ids],
            dtype=np.float64,
        )

    @cached_property
    def session_labels(self) -> IntArray:
        """A number for each session, in the order of the sessions."""
        numbers: dict[UUID, int] = {}
        return np.array(
            [numbers.setdefault(each, len(numbers)) for each in self.session_ids], dtype=np.int64
        )

    @property
    def board_toe_m(self) -> FloatArray:
        """The toe-to-board distance of each attempt."""
        return self.toe_m[:, 0]

    def of_latest_revision(self) -> "RunUps":
        """Return the end of the series that has one plan revision."""
        if not len(self):
            return self
        other = np.flatnonzero(self.revisions != self.revisions[-1])
        return self[int(other[-1]) + 1 if other.size else 0 :]

    def latest_marks(self) -> Marks | None:
        """Return the marks that the last attempt was made under."""
        plan_id = self.plan_ids[-1] if len(self) else None
        return None if plan_id is None else self.marks[plan_id]


# The fields that hold something for each attempt.
_OF_EACH = tuple(
    name
    for name in RunUps.__dataclass_fields__
    if name not in {"series", "steps", "shoe_length_m", "marks_now", "marks"}
)


class Head(msgspec.Struct, frozen=True, gc=False):
    """What is stored of a run-up itself: its steps, whose shoe, and the plan of this moment."""

    steps: int
    shoe_length_m: float | None
    plan_id: UUID | None


_HEAD = """
    SELECT a.steps, t.shoe_length_m, now.id
      FROM approaches_approach AS a
      JOIN athletes_athlete AS t ON t.club_id = a.club_id AND t.id = a.athlete_id
      LEFT JOIN LATERAL (
           SELECT p.id FROM approaches_plan AS p
            WHERE p.club_id = a.club_id AND p.approach_id = a.id AND p.valid_from <= now()
            ORDER BY p.revision DESC LIMIT 1
           ) AS now ON true
     WHERE a.id = %s
"""
# What is read of an attempt a. A correction came after it; most were never corrected.
COLUMNS: LiteralString = """
           a.id, a.version, a.started_at,
           CASE WHEN a.version = 1 THEN a.created_at
                ELSE greatest(a.created_at, (
                     SELECT max(v.replaced_at) FROM approaches_attemptversion AS v
                      WHERE v.club_id = a.club_id AND v.attempt_id = a.id)) END,
           a.plan_id, a.session_id, a.finish, a.outcome, a.toe_m, a.touchdown_s, a.toe_off_s,
           a.contact[1:3], a.start_mark_m, a.wind_mps, a.official_m::float8,
           a.gate_at_m, a.gate_time_s
"""
COUNTS: LiteralString = "a.voided_at IS NULL AND a.left_out IS NULL"
_ATTEMPTS: LiteralString = f"""
    SELECT {COLUMNS} FROM approaches_attempt AS a
     WHERE a.approach_id = %s AND a.finish = ANY(%s) AND {COUNTS}
"""
_BETWEEN: LiteralString = " AND a.started_at >= %s AND a.started_at < %s"
_LATEST: LiteralString = " ORDER BY a.started_at DESC, a.id DESC LIMIT %s"
_PLANS = """
    SELECT id, revision, start_mark_m, aim_m, check_marks::text, transition_footfall,
           attack_footfall, toe_m, last_contacts
      FROM approaches_plan WHERE id = ANY(%s)
"""


def read_run_ups_for(caller: Caller, series: Series, *, last: int, today: date) -> RunUps:
    """Return the `last` attempts of a series that the caller may see.

    Raises
    ------
    NotFoundError
        There is no such approach, or it is a stranger's.
    """
    query: LiteralString = _HEAD
    parameters: tuple[Any, ...] = (series.approach_id,)
    limits = athlete_selectors.find_limits_of(caller, today=today)
    if limits is not None:
        query = f"{query} AND a.athlete_id IN ({limits.query})"
        parameters += limits.parameters
    head = prepared.find_row(query, parameters, make=Head)
    if head is None:
        raise NotFoundError
    return _read_run_ups(series, head, last=last)


def read_run_ups(
    series: Series, *, last: int, between: tuple[datetime, datetime] | None = None
) -> RunUps:
    """Return the `last` attempts of a series of the club in scope, for a service that asks.

    With `between`, of those that started from the first moment on and before the second.

    Raises
    ------
    NotFoundError
        There is no such approach.
    """
    head = prepared.find_row(_HEAD, (series.approach_id,), make=Head)
    if head is None:
        raise NotFoundError
    return _read_run_ups(series, head, last=last, between=between)


def _read_run_ups(
    series: Series, head: Head, *, last: int, between: tuple[datetime, datetime] | None = None
) -> RunUps:
    some = "" if between is None else _BETWEEN
    rows = prepared.read_rows(
        f"{_ATTEMPTS}{some}{_LATEST}",
        (series.approach_id, series.finishes, *(between or ()), last),
        make=lambda *columns: columns,
    )[::-1]
    return run_ups_of(series, head, rows, read_marks({head.plan_id, *plan_ids_of(rows)}))


def plan_ids_of(rows: Sequence[tuple[Any, ...]]) -> set[UUID | None]:
    """Return under which plans attempts were made, given their `COLUMNS`."""
    return {row[4] for row in rows}


def read_marks(plan_ids: Collection[UUID | None]) -> dict[UUID, Marks]:
    """Return what the plans say, by id."""
    plans = prepared.read_rows(
        _PLANS, ([each for each in plan_ids if each is not None],), make=_marks_of
    )
    return {each.id: each for each in plans}


def _marks_of(
    id_: UUID,
    revision: int,
    start_mark_m: float,
    aim_m: float,
    check_marks: str,
    *columns: Any,
) -> Marks:
    transition_footfall, attack_footfall, toe_m, last_contacts = columns
    return Marks(
        id=id_,
        revision=revision,
        start_mark_m=start_mark_m,
        aim_m=aim_m,
        check_marks=_check_marks.decode(check_marks),
        transition_footfall=transition_footfall,
        attack_footfall=attack_footfall,
        # Plans are written from the start mark on.
        toe_m=np.array(toe_m[::-1], dtype=np.float64) if toe_m else None,
        last_contacts=tuple(last_contacts),
    )


def run_ups_of(
    series: Series, head: Head, rows: Sequence[tuple[Any, ...]], plans: Mapping[UUID, Marks]
) -> RunUps:
    """Return attempts in order, given their `COLUMNS` and all plans that they were made under."""
    (
        ids,
        versions,
        started_at,
        changed_at,
        plan_ids,
        session_ids,
        finishes,
        outcomes,
        toe_m,
        touchdown_s,
        toe_off_s,
        contacts,
        start_marks,
        winds,
        officials,
        gates_at,
        gate_times,
    ) = zip(*rows, strict=True) if rows else ((),) * 17
    n_gates = max(map(len, gates_at), default=0)
    planned = [None if each is None else plans[each].start_mark_m for each in plan_ids]
    used = [plan if mark is None else mark for mark, plan in zip(start_marks, planned, strict=True)]
    return RunUps(
        series=series,
        steps=head.steps,
        shoe_length_m=head.shoe_length_m,
        marks_now=None if head.plan_id is None else plans[head.plan_id],
        marks=plans,
        ids=ids,
        versions=versions,
        started_at=started_at,
        changed_at=changed_at,
        plan_ids=plan_ids,
        session_ids=session_ids,
        is_jump=np.array([each == Finish.JUMP.value for each in finishes], dtype=np.bool_),
        no_jump=np.array([each == Outcome.NO_JUMP.value for each in outcomes], dtype=np.bool_),
        toe_m=matrix_of(toe_m, columns=head.steps + 1),
        touchdown_s=matrix_of(touchdown_s, columns=head.steps + 1),
        toe_off_s=matrix_of(toe_off_s, columns=head.steps + 1),
        contacts=[(*(None,) * (3 - len(each)), *reversed(each)) for each in contacts],
        start_mark_m=or_nan(used),
        wind_mps=or_nan(winds),
        official_m=or_nan(officials),
        gate_at_m=matrix_of(gates_at, columns=n_gates),
        gate_time_s=matrix_of(gate_times, columns=n_gates),
    )


def matrix_of(rows: Sequence[Sequence[float]], *, columns: int) -> FloatArray:
    matrix = np.full((len(rows), columns), np.nan)
    for place, row in enumerate(rows):
        kept = row[:columns]
        matrix[place, : len(kept)] = kept
    return matrix


def or_nan(values: Sequence[float | None]) -> FloatArray:
    return np.array([np.nan if each is None else each for each in values], dtype=np.float64)


@dataclass(frozen=True, slots=True)
class SeriesInSession:
    """A series of jumps that goes on in a session, and what was reached there so far."""

    series: Series
    athlete_id: UUID
    athlete_code: str
    attempts_taken: int  # full jumps; a baulk is none
    best_m: float | None


_IN_SESSION = """
    SELECT a.approach_id, a.athlete_id, t.code,
           (count(*) FILTER (WHERE a.finish = 'jump' AND a.outcome <> 'baulk'))::int,
           (max(a.official_m) FILTER (WHERE a.finish = 'jump' AND a.official_m > 0))::float8
      FROM approaches_attempt AS a
      JOIN athletes_athlete AS t ON t.club_id = a.club_id AND t.id = a.athlete_id
     WHERE a.session_id = %s AND a.voided_at IS NULL AND a.finish IN ('jump', 'pop_up')
       AND a.left_out IS DISTINCT FROM 'partial'
"""


def list_series_in_session_for(
    caller: Caller, session_id: UUID, *, today: date
) -> list[SeriesInSession]:
    """Return the run-ups that are jumped from in a session, of athletes whom the caller may see."""
    query: LiteralString = _IN_SESSION
    parameters: tuple[Any, ...] = (session_id,)
    limits = athlete_selectors.find_limits_of(caller, today=today)
    if limits is not None:
        query = f"{query} AND a.athlete_id IN ({limits.query})"
        parameters += limits.parameters
    query = f"{query} GROUP BY a.approach_id, a.athlete_id, t.code ORDER BY t.code, a.approach_id"

    def make(approach_id: UUID, *columns: Any) -> SeriesInSession:
        return SeriesInSession(Series(approach_id, FinishClass.JUMP), *columns)

    return prepared.read_rows(query, parameters, make=make)
