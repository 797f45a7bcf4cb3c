"""Advice that was recorded, and the attempts around it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

import numpy as np
import numpy.typing as npt
from django.db.models import QuerySet

from analytics.core.conventions import DEFAULT_AIM_M
from analytics.models import Advice, AdviceKind, SeriesState
from analytics.selectors.series import Series
from approaches import selectors as approach_selectors
from approaches.models import Approach, Outcome
from clubs.selectors import Caller
from common import prepared
from common.errors import NotFoundError


def list_advice(approach: Approach) -> QuerySet[Advice]:
    """Return what was advised for an approach and decided on."""
    advice = Advice.objects.filter(approach=approach)
    return advice.select_related("published_plan", "plan")


@dataclass(frozen=True, slots=True)
class WaitingAdvice:
    """An advice to move a start mark that nobody has decided on, as last told of a series."""

    state_id: UUID
    approach_id: UUID
    finish_class: str
    athlete_code: str
    approach_code: str
    through_attempt: UUID
    move_m: float
    start_mark_m: float


def list_waiting_advice() -> list[WaitingAdvice]:
    """Return what is advised to move in the club in scope and nobody has decided on.

    As it stood after the last finished session of each series.
    """
    states = (
        SeriesState.objects.filter(figures__advice__mark__answer="move")
        .select_related("approach__athlete")
        .order_by("approach__athlete__code", "approach__code", "id")
    )
    decided = set(
        Advice.objects.filter(kind=AdviceKind.MARK).values_list("through_attempt_id", flat=True)
    )
    waiting = []
    for state in states:
        told = state.figures["advice"]
        found = WaitingAdvice(
            state_id=state.id,
            approach_id=state.approach_id,
            finish_class=state.finish_class,
            athlete_code=state.approach.athlete.code,
            approach_code=state.approach.code,
            through_attempt=UUID(told["through_attempt"]),
            move_m=told["mark"]["move_m"],
            start_mark_m=told["mark"]["start_mark_m"],
        )
        if found.through_attempt not in decided:
            waiting.append(found)
    return waiting


def get_advice_for(caller: Caller, approach_id: UUID, advice_id: UUID, *, today: date) -> Advice:
    """Return one advice for an approach that the caller may see.

    Raises
    ------
    NotFoundError
        There is none, or it is about a stranger.
    """
    approach = approach_selectors.get_approach_for(caller, approach_id, today=today)
    advice = list_advice(approach).filter(id=advice_id).first()
    if advice is None:
        raise NotFoundError
    return advice


@dataclass(frozen=True, eq=False)
class Landings:
    """Where the feet of a series landed, in order; every array has one row for each attempt."""

    ids: Sequence[UUID]
    started_at: Sequence[datetime]
    session_ids: Sequence[UUID]
    no_jump: npt.NDArray[np.bool_]
    aim_m: npt.NDArray[np.float64]
    start_mark_m: npt.NDArray[np.float64]  # as it was used; where nobody said so, the plan's
    toe_m: npt.NDArray[np.float64]  # by footfall, from the take-off foot on

    def __len__(self) -> int:
        return len(self.ids)


_LANDINGS = """
    SELECT a.id, a.started_at, a.session_id, a.outcome, p.aim_m,
           coalesce(a.start_mark_m, p.start_mark_m), a.toe_m[1:%s]
      FROM approaches_attempt AS a LEFT JOIN approaches_plan AS p
           ON p.club_id = a.club_id AND p.id = a.plan_id
     WHERE a.approach_id = %s AND a.finish = ANY(%s) AND a.started_at >= %s
       AND a.voided_at IS NULL AND a.left_out IS NULL
     ORDER BY a.started_at, a.id
"""


def read_landings(series: Series, *, since: datetime, last_footfall: int) -> Landings:
    """Return the attempts of a series from a moment on, with their footfalls up to one."""
    rows = prepared.read_rows(
        _LANDINGS,
        (last_footfall + 1, series.approach_id, series.finishes, since),
        make=lambda *columns: columns,
    )
    ids, started_at, session_ids, outcomes, aims, marks, toes = (
        zip(*rows, strict=True) if rows else ((),) * 7
    )
    toe_m = np.full((len(rows), last_footfall + 1), np.nan)
    for place, toe in enumerate(toes):
        toe_m[place, : len(toe)] = toe
    return Landings(
        ids=ids,
        started_at=started_at,
        session_ids=session_ids,
        no_jump=np.array([each == Outcome.NO_JUMP.value for each in outcomes], dtype=np.bool_),
        aim_m=_numbers(aims, instead=DEFAULT_AIM_M),
        start_mark_m=_numbers(marks, instead=np.nan),
        toe_m=toe_m,
    )


def _numbers(values: Sequence[Any], *, instead: float) -> npt.NDArray[np.float64]:
    return np.array([instead if each is None else each for each in values], dtype=np.float64)
