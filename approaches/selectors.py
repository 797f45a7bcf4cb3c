"""Questions about approaches, plans, sessions and attempts."""

from datetime import date, datetime
from uuid import UUID

from django.db.models import QuerySet

from approaches.models import Approach, Attempt, AttemptVersion, Plan, QuarantinedRow, Session
from athletes import selectors as athlete_selectors
from clubs.models import Role
from clubs.selectors import DEVICE, Caller
from common.errors import NotFoundError


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


def find_latest_plan(approach: Approach) -> Plan | None:
    """Return the latest revision, which may become valid later, or None before the first one."""
    return list_plans(approach).order_by("-revision").first()


def find_plan_at(approach: Approach, moment: datetime) -> Plan | None:
    """Return the revision that is valid at a moment, or None before the first one."""
    return list_plans(approach).filter(valid_from__lte=moment).order_by("-revision").first()


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
