"""Questions about athletes, and who may see whom."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from uuid import UUID

from django.db.models import Q, QuerySet
from django.db.models.expressions import RawSQL

from athletes.errors import UnknownAthleteError
from athletes.models import Athlete, CoachAssignment, Consent, SquadMember
from clubs.models import Role
from clubs.selectors import DEVICE, Caller
from common.prepared import Selection

# Whom a coach sees: the athletes assigned to them, and those of their squads.
_OF_COACH = """
    SELECT athlete_id FROM athletes_coachassignment
     WHERE coach_id = %s AND athlete_id IS NOT NULL
       AND from_date <= %s AND (until_date IS NULL OR until_date >= %s)
     UNION
    SELECT m.athlete_id FROM athletes_coachassignment AS c JOIN athletes_squadmember AS m
           ON m.club_id = c.club_id AND m.squad_id = c.squad_id
     WHERE c.coach_id = %s
       AND c.from_date <= %s AND (c.until_date IS NULL OR c.until_date >= %s)
       AND m.from_date <= %s AND (m.until_date IS NULL OR m.until_date >= %s)
"""
_SELF = "SELECT id FROM athletes_athlete WHERE user_id = %s"


def find_limits_of(caller: Caller, *, today: date) -> Selection | None:
    """Return which athletes the caller may see, or None when it is every one of the club.

    Admins and devices see the whole club, coaches the athletes assigned to them and those of their
    squads, athletes themselves. An assignment holds from its first day to its last. The rule is
    written as SQL, so that querysets and the quickest reads share it.
    """
    if caller.role in {Role.ADMIN, DEVICE}:
        return None
    if caller.role == Role.ATHLETE:
        return Selection(_SELF, (caller.user_id,))
    in_force = (caller.membership_id, today, today)
    return Selection(_OF_COACH, (*in_force, *in_force, today, today))


def list_athletes_for(caller: Caller, *, today: date) -> QuerySet[Athlete]:
    """Return the athletes that the caller may see."""
    limits = find_limits_of(caller, today=today)
    athletes = Athlete.objects.all()
    if limits is None:
        return athletes
    return athletes.filter(id__in=RawSQL(*limits))  # noqa: S611  # the query is one of those above


def get_athlete_for(caller: Caller, athlete_id: UUID, *, today: date) -> Athlete:
    """Return an athlete that the caller may see.

    Raises
    ------
    UnknownAthleteError
        There is none, or it is a stranger's.
    """
    athlete = list_athletes_for(caller, today=today).filter(id=athlete_id).first()
    if athlete is None:
        raise UnknownAthleteError
    return athlete


def _on(day: date) -> Q:
    """Return the condition that a row with from_date and until_date holds on `day`."""
    return Q(from_date__lte=day) & (Q(until_date__isnull=True) | Q(until_date__gte=day))


def list_squads_of(athlete: Athlete, *, today: date) -> QuerySet[SquadMember]:
    """Return the athlete's times in squads that hold today."""
    return SquadMember.objects.filter(_on(today), athlete=athlete).select_related("squad")


def list_times_in_squad(squad_id: UUID, *, today: date) -> QuerySet[SquadMember]:
    """Return the times in a squad that hold today."""
    return SquadMember.objects.filter(_on(today), squad_id=squad_id)


def list_assignments_for(athlete: Athlete, *, today: date) -> QuerySet[CoachAssignment]:
    """Return by which assignments, of the athlete or of a squad, coaches see the athlete today."""
    squads = list_squads_of(athlete, today=today).values("squad_id")
    return CoachAssignment.objects.filter(
        _on(today),
        Q(athlete=athlete) | Q(squad_id__in=squads),
        coach__role=Role.COACH,
        coach__ended_at=None,
    ).select_related("coach__user", "squad")


class ConsentState(StrEnum):
    """Whether a consent covers a purpose today."""

    GIVEN = "given"
    WITHDRAWN = "withdrawn"
    MISSING = "missing"


@dataclass(frozen=True, slots=True)
class PurposeState:
    """What is agreed for one purpose, and by which consent."""

    purpose: Consent.Purpose
    state: ConsentState
    consent: Consent | None


def list_consent_states(athlete: Athlete, *, today: date) -> list[PurposeState]:
    """Return for each purpose whether a consent covers it today.

    The one that began last says it; one that begins later says nothing yet, and a withdrawal
    counts from its day on.
    """
    latest = {
        consent.purpose: consent
        for consent in Consent.objects.filter(athlete=athlete, from_date__lte=today).order_by(
            "from_date"
        )
    }
    states = []
    for purpose in Consent.Purpose:
        consent = latest.get(purpose)
        if consent is None:
            state = ConsentState.MISSING
        elif consent.withdrawn_date is not None and consent.withdrawn_date <= today:
            state = ConsentState.WITHDRAWN
        else:
            state = ConsentState.GIVEN
        states.append(PurposeState(purpose=purpose, state=state, consent=consent))
    return states
