"""Questions about series: their attempts as arrays, their figures, their alerts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, LiteralString
from uuid import UUID

import msgspec
import numpy as np
import numpy.typing as npt
from django.db import connection
from django.db.models import Q, QuerySet

from analytics.core import alert_settings
from analytics.core.alert_settings import Kind, RuleSettings
from analytics.core.conventions import DEFAULT_AIM_M
from analytics.models import Alert, AlertRule, SeriesPoint, SeriesState
from approaches import selectors as approach_selectors
from approaches.models import FINISHES_OF_CLASS, Approach, FinishClass, Outcome, PendingRefresh
from athletes import selectors as athlete_selectors
from clubs.selectors import Caller
from common import prepared
from common.errors import NotFoundError


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


_IN_SERIES = """
      FROM approaches_attempt AS a LEFT JOIN approaches_plan AS p
           ON p.club_id = a.club_id AND p.id = a.plan_id
     WHERE a.approach_id = %s AND a.finish = ANY(%s)
       AND a.voided_at IS NULL AND a.left_out IS NULL
"""
_COLUMNS = """
    SELECT a.id, a.started_at, a.plan_id, p.revision, a.session_id, a.toe_m[1], a.outcome, p.aim_m
"""


def read_series(
    series: Series, *, since: datetime | None = None, before_that: int = 0
) -> SeriesAttempts:
    """Return the attempts of a series that started at or after `since`, and some before.

    `before_that` is how many earlier ones are read too, for windows that reach back. The cost
    depends on what is returned, not on how long the series is.
    """
    rows: list[tuple[Any, ...]] = []
    with connection.cursor() as cursor:
        if since is not None and before_that:
            cursor.execute(
                f"{_COLUMNS} {_IN_SERIES} AND a.started_at < %s"
                " ORDER BY a.started_at DESC, a.id DESC LIMIT %s",
                [series.approach_id, series.finishes, since, before_that],
            )
            rows = cursor.fetchall()[::-1]
        cursor.execute(
            f"{_COLUMNS} {_IN_SERIES} {'' if since is None else 'AND a.started_at >= %s'}"
            " ORDER BY a.started_at, a.id",
            [series.approach_id, series.finishes, *([] if since is None else [since])],
        )
        rows += cursor.fetchall()
    return _as_attempts(rows)


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
    longest = max((len(toe_m) for toe_m in found.values()), default=0)
    footfalls = np.full((len(attempt_ids), longest), np.nan)
    for place, attempt_id in enumerate(attempt_ids):
        toe_m = found[attempt_id]
        footfalls[place, : len(toe_m)] = toe_m
    return footfalls


def read_latest(series: Series, n: int) -> SeriesAttempts:
    """Return the last `n` attempts of a series, in order."""
    with connection.cursor() as cursor:
        cursor.execute(
            f"{_COLUMNS} {_IN_SERIES} ORDER BY a.started_at DESC, a.id DESC LIMIT %s",
            [series.approach_id, series.finishes, n],
        )
        return _as_attempts(cursor.fetchall()[::-1])


class Standing(msgspec.Struct, frozen=True, gc=False):
    """How far a series is computed, and whether newer attempts wait."""

    method: int | None
    as_of: datetime | None
    through_attempt: str | None
    n: int
    figures: str  # the latest figures, as the JSON that is stored
    is_pending: bool

    def is_stale(self, *, method: int) -> bool:
        """Answer whether newer attempts, or a newer method, wait to be computed."""
        return self.is_pending or (self.method is not None and self.method != method)


_STANDING = """
    SELECT s.method, s.computed_at, s.through_attempt_id::text, coalesce(s.n_attempts, 0),
           coalesce(s.figures::text, '{}'),
           EXISTS (SELECT 1 FROM approaches_pendingrefresh AS p
                    WHERE p.club_id = a.club_id AND p.approach_id = a.id AND p.finish_class = %s)
      FROM approaches_approach AS a LEFT JOIN analytics_seriesstate AS s
           ON s.club_id = a.club_id AND s.approach_id = a.id AND s.finish_class = %s
     WHERE a.id = %s
"""


def get_standing_for(caller: Caller, series: Series, *, today: date) -> Standing:
    """Return how a series stands that the caller may see; one never computed stands at nothing.

    Raises
    ------
    NotFoundError
        There is no such approach, or it is a stranger's.
    """
    finish_class = series.finish_class.value
    query: LiteralString = _STANDING
    parameters: tuple[Any, ...] = (finish_class, finish_class, series.approach_id)
    limits = athlete_selectors.find_limits_of(caller, today=today)
    if limits is not None:
        query = f"{query} AND a.athlete_id IN ({limits.query})"
        parameters += limits.parameters
    standing = prepared.find_row(query, parameters, make=Standing)
    if standing is None:
        raise NotFoundError
    return standing


class Point(msgspec.Struct, frozen=True, gc=False):
    """Rolling figures after one attempt."""

    attempt: str
    started_at: datetime
    plan_revision: int | None
    n: int
    n_measured: int
    n_no_jumps: int
    n_on_board: int
    toe_m: float | None
    no_jump: bool
    bias_m: float | None
    bias_low_m: float | None
    bias_high_m: float | None
    spread_m: float | None
    spread_low_m: float | None
    spread_high_m: float | None
    share_on_board: float | None
    share_no_jump: float | None


# In the order of the fields of a point; an id is read quicker as text.
_POINTS = """
    SELECT attempt_id::text, started_at, plan_revision, n, n_measured, n_no_jumps, n_on_board,
           toe_m, no_jump, bias_m, bias_low_m, bias_high_m, spread_m, spread_low_m, spread_high_m,
           share_on_board, share_no_jump
      FROM analytics_seriespoint AS p
     WHERE approach_id = %s AND finish_class = %s
"""
# By the column, not by the text that is read of it: so says the index.
_LATEST_FIRST = " ORDER BY p.started_at DESC, p.attempt_id DESC LIMIT %s"


def read_points(series: Series, *, last: int, before: UUID | None = None) -> list[Point] | None:
    """Return the `last` points of a series, the latest first.

    With `before`, those before that attempt; None when the series has no point of it.
    """
    key: tuple[Any, ...] = (series.approach_id, series.finish_class.value)
    if before is None:
        return prepared.read_rows(_POINTS + _LATEST_FIRST, (*key, last), make=Point)
    bound = prepared.find_row(_POINTS + " AND attempt_id = %s", (*key, before), make=Point)
    if bound is None:
        return None
    return prepared.read_rows(
        _POINTS + " AND (started_at, attempt_id) < (%s, %s)" + _LATEST_FIRST,
        (*key, bound.started_at, before, last),
        make=Point,
    )


@dataclass(frozen=True, slots=True)
class SeriesSummary:
    """A series as a person looks at it: its figures after the last computed attempt, what waits."""

    approach_id: UUID
    finish_class: FinishClass
    state: SeriesState | None
    point: SeriesPoint | None
    pending: PendingRefresh | None
    stale: bool


def list_summaries(approaches: QuerySet[Approach], *, method: int) -> list[SeriesSummary]:
    """Return a summary of each series of the approaches, with three queries for all of them."""
    found = approaches.order_by()
    states = {
        (state.approach_id, state.finish_class): state
        for state in SeriesState.objects.filter(approach__in=found).select_related(
            "through_attempt"
        )
    }
    points = {
        (point.approach_id, point.finish_class): point
        for point in SeriesPoint.objects.filter(
            attempt__in=[state.through_attempt_id for state in states.values()]
        )
    }
    waiting = {
        (pending.approach_id, pending.finish_class): pending
        for pending in PendingRefresh.objects.filter(approach__in=found)
    }
    return [
        SeriesSummary(
            approach_id=key[0],
            finish_class=FinishClass(key[1]),
            state=states.get(key),
            point=points.get(key),
            pending=waiting.get(key),
            stale=key in waiting or states[key].method != method,
        )
        for key in sorted(states.keys() | waiting.keys())
    ]


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


def list_alerts_for(caller: Caller, *, today: date) -> QuerySet[Alert]:
    """Return the alerts about athletes that the caller may see."""
    approaches = approach_selectors.list_approaches_for(caller, today=today)
    alerts = Alert.objects.filter(approach_id__in=approaches.values("id"))
    return alerts.select_related("approach", "plan")


def get_alert_for(caller: Caller, alert_id: UUID, *, today: date) -> Alert:
    """Return an alert that the caller may see.

    Raises
    ------
    NotFoundError
        There is none, or it is about a stranger.
    """
    alert = list_alerts_for(caller, today=today).filter(id=alert_id).first()
    if alert is None:
        raise NotFoundError
    return alert


def lock_alert(alert_id: UUID) -> Alert:
    """Return an alert of the club in scope, locked against other changes.

    Raises
    ------
    NotFoundError
        The club has no such alert.
    """
    alerts = Alert.objects.select_related("approach", "plan")
    # The plan may be none, and what may be none cannot be locked.
    alert = alerts.select_for_update(of=("self",), no_key=True).filter(id=alert_id).first()
    if alert is None:
        raise NotFoundError
    return alert


def put_off_on(day: date) -> Q:
    """Return the condition that an alert is put off on `day`: on its own day it is back."""
    return Q(put_off_until_date__gt=day)


Thresholds = Mapping[str, int | float]


@dataclass(frozen=True, slots=True)
class HeldRule:
    """What holds in a club for one kind of alert."""

    kind: Kind
    is_active: bool = True
    own_thresholds: Thresholds = field(default_factory=dict)  # the others are the defaults
    version: int = 0  # 0 while the club has set nothing

    @property
    def settings(self) -> RuleSettings:
        return RuleSettings(**self.own_thresholds)  # type: ignore[arg-type]  # checked when set

    @property
    def thresholds(self) -> Thresholds:
        return self._named(self.settings)

    @property
    def defaults(self) -> Thresholds:
        return self._named(alert_settings.RULE_DEFAULTS)

    def _named(self, settings: RuleSettings) -> Thresholds:
        names = alert_settings.THRESHOLDS_OF_KIND[self.kind]
        return {name: getattr(settings, name) for name in names}


def list_alert_rules() -> list[HeldRule]:
    """Return what holds in the club in scope for each kind of alert, read at one moment."""
    own = {
        Kind(rule.kind): HeldRule(
            kind=Kind(rule.kind),
            is_active=rule.is_active,
            own_thresholds=rule.thresholds,
            version=rule.version,
        )
        for rule in AlertRule.objects.all()
    }
    return [own.get(kind) or HeldRule(kind=kind) for kind in Kind]


def stamp_of(rules: Sequence[HeldRule]) -> int:
    """Return what grows with each change of a club's rules; 0 while it has set nothing."""
    return sum(rule.version for rule in rules)


def count_series_judged_otherwise(rules: Sequence[HeldRule]) -> int:
    """Return how many series of the club in scope were judged by other rules than these."""
    return SeriesState.objects.filter(rules_stamp__lt=stamp_of(rules)).count()


def get_alert_rule(kind: str) -> HeldRule:
    """Return what holds in the club in scope for one kind of alert.

    Raises
    ------
    NotFoundError
        There is no such kind.
    """
    for rule in list_alert_rules():
        if rule.kind == kind:
            return rule
    raise NotFoundError
