"""Questions about approaches, plans, sessions and attempts."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import connection
from django.db.models import Q, QuerySet

from approaches.models import (
    Approach,
    Attempt,
    AttemptVersion,
    GateRun,
    Plan,
    QuarantinedRow,
    Session,
)
from athletes import selectors as athlete_selectors
from clubs.models import Role
from clubs.selectors import DEVICE, Caller
from common.errors import NotFoundError

# How far from a gate run an attempt may have started to be suggested, and how many are.
SUGGESTED_WITHIN_S = 600
MOST_SUGGESTED = 5


def list_approaches_for(caller: Caller, *, today: date) -> QuerySet[Approach]:
    """Return the approaches of the athletes that the caller may see."""
    athletes = athlete_selectors.list_athletes_for(caller, today=today)
    return Approach.objects.filter(athlete_id__in=athletes.values("id"))


def get_approach_for(caller: Caller, approach_id: UUID, *, today: date) -> Approach:
    """Return an approach that the caller may see.

    Raises
    ------
    NotFoundError
        There is none, or it is a stranger's.
    """
    approach = list_approaches_for(caller, today=today).filter(id=approach_id).first()
    if approach is None:
        raise NotFoundError
    return approach


def list_plans(approach: Approach) -> QuerySet[Plan]:
    """Return every revision of an approach's plan."""
    return Plan.objects.filter(approach=approach)


def get_plan(approach: Approach, plan_id: UUID) -> Plan:
    """Return one revision of an approach's plan.

    Raises
    ------
    NotFoundError
        The approach has no such revision.
    """
    plan = list_plans(approach).filter(id=plan_id).first()
    if plan is None:
        raise NotFoundError
    return plan


def find_latest_plan(approach: Approach) -> Plan | None:
    """Return the latest revision, which may become valid later, or None before the first one."""
    return list_plans(approach).order_by("-revision").first()


def find_plan_at(approach: Approach, moment: datetime) -> Plan | None:
    """Return the revision that is valid at a moment, or None before the first one."""
    return list_plans(approach).filter(valid_from__lte=moment).order_by("-revision").first()


def list_plans_in_force(approaches: QuerySet[Approach], moment: datetime) -> QuerySet[Plan]:
    """Return for each of the approaches the revision that is valid at a moment, if there is one."""
    valid = Plan.objects.filter(approach__in=approaches.order_by(), valid_from__lte=moment)
    return valid.order_by("approach_id", "-revision").distinct("approach_id")


def list_sessions() -> QuerySet[Session]:
    return Session.objects.all()


def get_session(session_id: UUID) -> Session:
    """Return a session of the club in scope.

    Raises
    ------
    NotFoundError
        The club has no such session.
    """
    session = Session.objects.filter(id=session_id).first()
    if session is None:
        raise NotFoundError
    return session


def list_sessions_of(athlete_id: UUID, caller: Caller, *, today: date) -> QuerySet[Session]:
    """Return the sessions with an attempt of an athlete, so far as the caller may see it."""
    seen = list_attempts_for(caller, today=today)
    attempts = seen.filter(athlete_id=athlete_id, voided_at=None)
    return list_sessions().filter(id__in=attempts.values("session_id"))


def list_attempts_for(caller: Caller, *, today: date) -> QuerySet[Attempt]:
    """Return the attempts of the athletes that the caller may see, voided ones included."""
    attempts = Attempt.objects.all()
    if caller.role in {Role.ADMIN, DEVICE}:
        return attempts
    athletes = athlete_selectors.list_athletes_for(caller, today=today)
    return attempts.filter(athlete_id__in=athletes.values("id"))


def get_attempt_for(caller: Caller, attempt_id: UUID, *, today: date) -> Attempt:
    """Return an attempt that the caller may see.

    Raises
    ------
    NotFoundError
        There is none, or it is a stranger's.
    """
    attempt = list_attempts_for(caller, today=today).filter(id=attempt_id).first()
    if attempt is None:
        raise NotFoundError
    return attempt


def list_versions(attempt: Attempt) -> QuerySet[AttemptVersion]:
    """Return what an attempt was before each change."""
    return AttemptVersion.objects.filter(attempt=attempt)


def list_gate_runs_for(caller: Caller, *, today: date) -> QuerySet[GateRun]:
    """Return the gate runs of the athletes that the caller may see.

    A matched run is of its attempt's athlete, whoever it was said to be of. Coaches see unmatched
    ones of nobody in particular, too: they are the ones who can say whose they are.
    """
    runs = GateRun.objects.all()
    if caller.role in {Role.ADMIN, DEVICE}:
        return runs
    athletes = athlete_selectors.list_athletes_for(caller, today=today).values("id")
    visible = Q(attempt__athlete_id__in=athletes) | Q(attempt=None, athlete_id__in=athletes)
    if caller.role == Role.COACH:
        visible |= Q(attempt=None, athlete=None)
    return runs.filter(visible)


def get_gate_run_for(caller: Caller, run_id: UUID, *, today: date) -> GateRun:
    """Return a gate run that the caller may see.

    Raises
    ------
    NotFoundError
        There is none, or it is a stranger's.
    """
    run = list_gate_runs_for(caller, today=today).filter(id=run_id).first()
    if run is None:
        raise NotFoundError
    return run


@dataclass(frozen=True, slots=True)
class Suggestion:
    """An attempt that an unmatched gate run may belong to."""

    attempt_id: UUID
    external_id: str
    athlete_id: UUID
    started_at: datetime
    seconds_apart: float  # positive when the attempt started later
    is_named: bool
    has_gates: bool


_WITHIN = f"interval '{SUGGESTED_WITHIN_S} seconds'"
_SUGGESTED = f"""
    SELECT run.id, near.*
      FROM approaches_gaterun AS run
     CROSS JOIN LATERAL (
           SELECT id, external_id, athlete_id, started_at,
                  extract(epoch FROM started_at - run.started_at)::float8 AS seconds_apart,
                  external_id = run.attempt_external_id AS is_named, has_gates
             FROM (SELECT attempt.id, attempt.external_id, attempt.athlete_id, attempt.started_at,
                          cardinality(attempt.gate_at_m) > 0 AS has_gates
                     FROM approaches_attempt AS attempt
                    WHERE attempt.club_id = run.club_id AND attempt.voided_at IS NULL
                      AND (run.athlete_id IS NULL OR attempt.athlete_id = run.athlete_id)
                      AND attempt.started_at BETWEEN run.started_at - {_WITHIN}
                                                 AND run.started_at + {_WITHIN}
                    UNION
                   SELECT attempt.id, attempt.external_id, attempt.athlete_id, attempt.started_at,
                          cardinality(attempt.gate_at_m) > 0
                     FROM clubs_source AS source
                     JOIN approaches_attempt AS attempt
                          ON attempt.club_id = source.club_id AND attempt.source_id = source.id
                         AND attempt.external_id = run.attempt_external_id
                    WHERE source.club_id = run.club_id AND run.attempt_external_id <> ''
                      AND attempt.voided_at IS NULL
                  ) AS fitting
            WHERE %s::uuid[] IS NULL OR athlete_id = ANY(%s)
            ORDER BY is_named DESC, abs(extract(epoch FROM started_at - run.started_at)), id
            LIMIT %s
           ) AS near
     WHERE run.id = ANY(%s) AND run.attempt_id IS NULL
     ORDER BY run.id, near.is_named DESC, abs(near.seconds_apart), near.id
"""


def suggest_attempts(
    runs: Iterable[GateRun], *, caller: Caller, today: date
) -> dict[UUID, list[Suggestion]]:
    """Return the attempts near each unmatched gate run that the caller may see, nearest first."""
    run_ids = [run.id for run in runs if run.attempt_id is None]
    if not run_ids:
        return {}
    athletes = athlete_selectors.list_athletes_for(caller, today=today)
    visible = None if caller.role == Role.ADMIN else list(athletes.values_list("id", flat=True))
    suggested: dict[UUID, list[Suggestion]] = {}
    with connection.cursor() as cursor:
        cursor.execute(
            _SUGGESTED,
            [visible, visible, MOST_SUGGESTED, run_ids],
        )
        for run_id, *columns in cursor.fetchall():
            suggested.setdefault(run_id, []).append(Suggestion(*columns))
    return suggested


def list_quarantined_for(caller: Caller) -> QuerySet[QuarantinedRow]:
    """Return refused rows: an admin sees the club's, a device those of its source."""
    rows = QuarantinedRow.objects.all()
    return rows.filter(source=caller.source_id) if caller.role == DEVICE else rows


def get_quarantined_for(caller: Caller, row_id: UUID) -> QuarantinedRow:
    """Return a refused row that the caller may see, replayed or not.

    Raises
    ------
    NotFoundError
        There is none, or it is another source's.
    """
    row = list_quarantined_for(caller).filter(id=row_id).first()
    if row is None:
        raise NotFoundError
    return row


def list_waiting_for(caller: Caller) -> QuerySet[QuarantinedRow]:
    """Return the refused rows that were not replayed yet."""
    return list_quarantined_for(caller).filter(replayed_at=None)
