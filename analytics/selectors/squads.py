"""What is stored of many athletes, for whoever looks over them: few queries for all of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, LiteralString
from uuid import UUID

import msgspec

from analytics.selectors.bodies import HEIGHTS, heights_of
from athletes import selectors as athlete_selectors
from clubs.selectors import Caller
from common import prepared
from common.prepared import Selection


class StandingMark(msgspec.Struct, frozen=True, gc=False):
    """What `mark-advice` said after the last finished session."""

    answer: str
    place: str
    n: int
    move_m: float
    start_mark_m: float
    mean_m: float
    low_m: float
    high_m: float
    probability_off: float


class StandingFocus(msgspec.Struct, frozen=True, gc=False):
    """The trouble that `practice-focus` named after the last finished session."""

    n: int
    trouble: str
    probability: float
    estimate: float
    size_m: float
    part: str | None


class StandingAdvice(msgspec.Struct, frozen=True, gc=False):
    """Both, the last attempt that they knew of, and the plan that was in force."""

    through_attempt: str
    plan: str | None
    mark: StandingMark | None
    focus: StandingFocus | None


_advice = msgspec.json.Decoder(StandingAdvice | None)


class RunUpFacts(msgspec.Struct, frozen=True, gc=False):
    """A run-up that is in use.

    Attributes
    ----------
    plan_id, plan_date
        The plan in force, and since when; None without one.
    n
        Attempts of its series, jumps and run-throughs.
    as_of
        When the older of its series was computed; None where none was.
    is_stale
        Newer attempts, or a newer method, wait to be computed.
    last_started_at
        Its latest attempt of any kind.
    advice
        Of its jumps; None where none was worked out yet.
    decided_through, decided_answer
        Up to which attempt the latest advice about its mark went that a coach decided on, and
        what it was.
    session_ids, session_jumps
        Full jumps of the last seven days, by session.
    """

    id: UUID
    athlete_id: UUID
    code: str
    event: str
    steps: int
    plan_id: UUID | None
    plan_date: date | None
    n: int
    as_of: datetime | None
    is_stale: bool
    last_started_at: datetime | None
    advice: StandingAdvice | None
    decided_through: UUID | None
    decided_answer: str | None
    session_ids: tuple[UUID, ...]
    session_jumps: tuple[int, ...]


class OpenAlert(msgspec.Struct, frozen=True, gc=False):
    """An alert that nobody acknowledged, and that is not put off; its evidence as it is stored."""

    id: UUID
    approach_id: UUID
    kind: str
    opened_at: datetime
    evidence: str


class AthleteFacts(msgspec.Struct, frozen=True, gc=False):
    """An athlete, as far as it is stored. Days are counted as `date.toordinal` does.

    Attributes
    ----------
    heights
        Day and height, metres.
    has_consent
        That training records are kept is agreed to today.
    """

    id: UUID
    code: str
    birth_date: date
    heights: tuple[tuple[int, float], ...]
    has_consent: bool
    run_ups: tuple[RunUpFacts, ...]
    alerts: tuple[OpenAlert, ...]


class SessionAhead(msgspec.Struct, frozen=True, gc=False):
    """A session of today or of the next days."""

    id: UUID
    code: str
    held_date: date
    kind: str


@dataclass(frozen=True, slots=True)
class SquadFacts:
    """The athletes whom the caller may see, in the order of their codes, and what lies ahead."""

    athletes: tuple[AthleteFacts, ...]
    ahead: tuple[SessionAhead, ...]


WEEK = timedelta(days=7)
# A session may have begun before the day that it is held on, by a clock that is set to UTC.
_EARLY = timedelta(days=2)
_MOST_AHEAD = 50

_ATHLETES: LiteralString = f"""
    SELECT t.id, t.code, t.birth_date, {HEIGHTS},
           coalesce((SELECT c.withdrawn_date IS NULL OR c.withdrawn_date > %s
                       FROM athletes_consent AS c
                      WHERE c.club_id = t.club_id AND c.athlete_id = t.id
                        AND c.purpose = 'training_records' AND c.from_date <= %s
                      ORDER BY c.from_date DESC LIMIT 1), false)
      FROM athletes_athlete AS t
     WHERE t.archived_at IS NULL
"""
_IN_SQUAD = """
    AND t.id IN (SELECT m.athlete_id FROM athletes_squadmember AS m
                  WHERE m.squad_id = %s
                    AND m.from_date <= %s AND (m.until_date IS NULL OR m.until_date >= %s))
"""
# Which sessions were held is looked up once, not for each run-up.
_RUN_UPS = """
    WITH held AS MATERIALIZED (
         SELECT id FROM approaches_session WHERE held_date > %s AND held_date <= %s)
    SELECT a.id, a.athlete_id, a.code, a.event, a.steps, now.id, now.valid_from::date,
           coalesce(s.n, 0)::int, s.as_of,
           coalesce(s.is_old, false) OR EXISTS (
               SELECT 1 FROM approaches_pendingrefresh AS p
                WHERE p.club_id = a.club_id AND p.approach_id = a.id),
           last.started_at, s.advice, decided.through_attempt_id, decided.answer,
           coalesce(week.sessions, '{}'), coalesce(week.jumps, '{}')
      FROM approaches_approach AS a
      LEFT JOIN LATERAL (
           SELECT p.id, p.valid_from FROM approaches_plan AS p
            WHERE p.club_id = a.club_id AND p.approach_id = a.id AND p.valid_from <= now()
            ORDER BY p.revision DESC LIMIT 1
           ) AS now ON true
      LEFT JOIN LATERAL (
           SELECT sum(e.n_attempts) AS n, min(e.computed_at) AS as_of,
                  bool_or(e.method <> %s) AS is_old,
                  max((e.figures -> 'advice')::text) FILTER (WHERE e.finish_class = 'jump')
                      AS advice
             FROM analytics_seriesstate AS e
            WHERE e.club_id = a.club_id AND e.approach_id = a.id
           ) AS s ON true
      LEFT JOIN LATERAL (
           SELECT r.started_at FROM approaches_attempt AS r
            WHERE r.club_id = a.club_id AND r.approach_id = a.id AND r.voided_at IS NULL
            ORDER BY r.started_at DESC, r.id DESC LIMIT 1
           ) AS last ON true
      LEFT JOIN LATERAL (
           SELECT v.through_attempt_id, v.answer FROM analytics_advice AS v
            WHERE v.club_id = a.club_id AND v.approach_id = a.id AND v.kind = 'mark'
              AND v.finish_class = 'jump'
            ORDER BY v.decided_at DESC, v.id DESC LIMIT 1
           ) AS decided ON true
      LEFT JOIN LATERAL (
           SELECT array_agg(j.session_id) AS sessions, array_agg(j.n) AS jumps FROM (
                  SELECT r.session_id, count(*)::int AS n
                    FROM approaches_attempt AS r JOIN held ON held.id = r.session_id
                   WHERE r.club_id = a.club_id AND r.approach_id = a.id AND r.started_at >= %s
                     AND r.finish = 'jump' AND r.outcome <> 'baulk' AND r.voided_at IS NULL
                     AND r.left_out IS DISTINCT FROM 'partial'
                     AND r.left_out IS DISTINCT FROM 'baulk'
                   GROUP BY r.session_id ORDER BY r.session_id
                  ) AS j
           ) AS week ON true
     WHERE a.archived_at IS NULL AND a.athlete_id = ANY(%s)
     ORDER BY a.code, a.id
"""
_ALERTS = """
    SELECT a.athlete_id, l.id, l.approach_id, l.kind, l.opened_at, l.evidence::text
      FROM analytics_alert AS l
      JOIN approaches_approach AS a ON a.club_id = l.club_id AND a.id = l.approach_id
     WHERE l.closed_at IS NULL AND l.acknowledged_at IS NULL
       AND (l.put_off_until_date IS NULL OR l.put_off_until_date <= %s)
       AND a.athlete_id = ANY(%s)
     ORDER BY l.opened_at, l.id
"""
_AHEAD = """
    SELECT id, code, held_date, kind FROM approaches_session
     WHERE held_date >= %s AND held_date <= %s ORDER BY held_date, code, id LIMIT %s
"""


def read_squad_for(
    caller: Caller, *, squad_id: UUID | None, days_ahead: int, method: int, today: date
) -> SquadFacts:
    """Return what is stored of the athletes whom the caller may see, archived ones aside.

    With `squad_id`, of those who are in the squad today: nobody where there is no such squad.
    """
    query: LiteralString = _ATHLETES
    parameters: tuple[Any, ...] = (today, today, today, today)
    limits = athlete_selectors.find_limits_of(caller, today=today)
    if limits is not None:
        query, parameters = _limited(query, parameters, limits)
    if squad_id is not None:
        query, parameters = f"{query} {_IN_SQUAD}", (*parameters, squad_id, today, today)
    heads = prepared.read_rows(
        f"{query} ORDER BY t.code, t.id", parameters, make=lambda *columns: columns
    )
    ids = [head[0] for head in heads]
    run_ups = prepared.read_rows(
        _RUN_UPS,
        (today - WEEK, today, method, _started_since(today), ids),
        make=_run_up_of,
    )
    alerts = prepared.read_rows(_ALERTS, (today, ids), make=_alert_of)
    ahead = prepared.read_rows(
        _AHEAD, (today, today + timedelta(days=days_ahead), _MOST_AHEAD), make=SessionAhead
    )
    run_ups_of = _by_athlete(run_ups, [each.athlete_id for each in run_ups])
    alerts_of = _by_athlete([alert for _, alert in alerts], [athlete for athlete, _ in alerts])
    return SquadFacts(
        athletes=tuple(
            AthleteFacts(
                id=id_,
                code=code,
                birth_date=birth_date,
                heights=heights_of(days, heights_m),
                has_consent=has_consent,
                run_ups=run_ups_of.get(id_, ()),
                alerts=alerts_of.get(id_, ()),
            )
            for id_, code, birth_date, days, heights_m, has_consent in heads
        ),
        ahead=tuple(ahead),
    )


def _limited(
    query: LiteralString, parameters: tuple[Any, ...], limits: Selection
) -> tuple[LiteralString, tuple[Any, ...]]:
    return f"{query} AND t.id IN ({limits.query})", (*parameters, *limits.parameters)


def _started_since(today: date) -> datetime:
    """Return from when on attempts may belong to a session of the last seven days."""
    return datetime.combine(today - WEEK - _EARLY, time(), UTC)


def _run_up_of(*columns: Any) -> RunUpFacts:
    head, (advice, through, answer, sessions, jumps) = columns[:-5], columns[-5:]
    told = None if advice is None else _advice.decode(advice)
    rest: tuple[Any, ...] = (told, through, answer, tuple(sessions), tuple(jumps))
    return RunUpFacts(*head, *rest)


def _alert_of(athlete_id: UUID, *columns: Any) -> tuple[UUID, OpenAlert]:
    return athlete_id, OpenAlert(*columns)


def _by_athlete(rows: Sequence[Any], athletes: Sequence[UUID]) -> dict[UUID, tuple[Any, ...]]:
    found: dict[UUID, list[Any]] = {}
    for row, athlete_id in zip(rows, athletes, strict=True):
        found.setdefault(athlete_id, []).append(row)
    return {athlete_id: tuple(those) for athlete_id, those in found.items()}
