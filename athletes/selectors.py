"""Questions about athletes, and who may see whom."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from uuid import UUID

from django.db.models import OuterRef, Q, QuerySet, Subquery
from django.db.models.expressions import RawSQL

from athletes.errors import UnknownAthleteError
from athletes.models import (
    Athlete,
    BodyMeasurement,
    CoachAssignment,
    Consent,
    SprintTest,
    SquadMember,
)
from clubs.models import Membership, Role, Squad
from clubs.selectors import DEVICE, Caller
from common.errors import NotFoundError
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


def list_measurements(athlete: Athlete) -> QuerySet[BodyMeasurement]:
    """Return what was measured of the athlete's body."""
    return BodyMeasurement.objects.filter(athlete=athlete)


def get_measurement(athlete: Athlete, measurement_id: UUID) -> BodyMeasurement:
    """Return one measurement of the athlete.

    Raises
    ------
    NotFoundError
        There is none.
    """
    measurement = list_measurements(athlete).filter(id=measurement_id).first()
    if measurement is None:
        raise NotFoundError
    return measurement


def list_sprint_tests(athlete: Athlete) -> QuerySet[SprintTest]:
    """Return the athlete's sprint tests."""
    return SprintTest.objects.filter(athlete=athlete)


def get_sprint_test(athlete: Athlete, sprint_test_id: UUID) -> SprintTest:
    """Return one sprint test of the athlete.

    Raises
    ------
    NotFoundError
        There is none.
    """
    test = list_sprint_tests(athlete).filter(id=sprint_test_id).first()
    if test is None:
        raise NotFoundError
    return test


def list_consents_for(caller: Caller, *, today: date) -> QuerySet[Consent]:
    """Return the consents of the athletes that the caller may see."""
    athletes = list_athletes_for(caller, today=today)
    return Consent.objects.filter(athlete_id__in=athletes.values("id"))


def get_consent_for(caller: Caller, consent_id: UUID, *, today: date) -> Consent:
    """Return a consent, if the caller may see the athlete.

    Raises
    ------
    NotFoundError
        There is none, or it is a stranger's.
    """
    consent = list_consents_for(caller, today=today).filter(id=consent_id).first()
    if consent is None:
        raise NotFoundError
    return consent


def holds_on(day: date) -> Q:
    """Return the condition that a row with from_date and until_date holds on `day`."""
    return Q(from_date__lte=day) & (Q(until_date__isnull=True) | Q(until_date__gte=day))


def list_squad_times_for(caller: Caller, squad: Squad, *, today: date) -> QuerySet[SquadMember]:
    """Return all times in a squad, past and to come, of the athletes that the caller may see."""
    seen = list_athletes_for(caller, today=today)
    return SquadMember.objects.filter(squad=squad, athlete_id__in=seen.values("id"))


def get_squad_time_for(
    caller: Caller, squad: Squad, squad_member_id: UUID, *, today: date
) -> SquadMember:
    """Return an athlete's time in a squad, if the caller may see the athlete.

    Raises
    ------
    NotFoundError
        There is none, or it is a stranger's.
    """
    times = list_squad_times_for(caller, squad, today=today)
    time = times.filter(id=squad_member_id).first()
    if time is None:
        raise NotFoundError
    return time


def list_squads_for(caller: Caller, *, today: date) -> QuerySet[Squad]:
    """Return the squads in which somebody is today whom the caller may see."""
    seen = list_athletes_for(caller, today=today)
    times = SquadMember.objects.filter(holds_on(today), athlete_id__in=seen.values("id"))
    return Squad.objects.filter(archived_at=None, id__in=times.values("squad_id"))


def find_own_athlete(caller: Caller) -> Athlete | None:
    """Return the athlete whom the caller's log-in belongs to; None where it is nobody's."""
    if caller.user_id is None:
        return None
    return Athlete.objects.filter(user_id=caller.user_id).first()


def list_charges_of(caller: Caller) -> QuerySet[CoachAssignment]:
    """Return who coaches whom, past and to come: to an admin all, to a coach their own."""
    assignments = CoachAssignment.objects.all()
    if caller.role == Role.ADMIN:
        return assignments
    return assignments.filter(coach=caller.membership_id)


def get_charge_of(caller: Caller, assignment_id: UUID) -> CoachAssignment:
    """Return one assignment, if the caller may see it.

    Raises
    ------
    NotFoundError
        There is none, or it is another coach's.
    """
    assignment = list_charges_of(caller).filter(id=assignment_id).first()
    if assignment is None:
        raise NotFoundError
    return assignment


def list_members() -> QuerySet[Membership]:
    """Return everybody who is or was a member; `athlete_id` names the athlete that they are."""
    own = Athlete.objects.filter(club=OuterRef("club"), user=OuterRef("user"))
    return Membership.objects.select_related("user").annotate(athlete_id=Subquery(own.values("id")))


def get_member(member_id: UUID) -> Membership:
    """Return one of them.

    Raises
    ------
    NotFoundError
        The club has no such member.
    """
    member = list_members().filter(id=member_id).first()
    if member is None:
        raise NotFoundError
    return member


def list_squads_of(athlete: Athlete, *, today: date) -> QuerySet[SquadMember]:
    """Return the athlete's times in squads that hold today."""
    return SquadMember.objects.filter(holds_on(today), athlete=athlete).select_related("squad")


def list_times_in_squad(squad_id: UUID, *, today: date) -> QuerySet[SquadMember]:
    """Return the times in a squad that hold today."""
    return SquadMember.objects.filter(holds_on(today), squad_id=squad_id)


def list_assignments_for(athlete: Athlete, *, today: date) -> QuerySet[CoachAssignment]:
    """Return by which assignments, of the athlete or of a squad, coaches see the athlete today."""
    squads = list_squads_of(athlete, today=today).values("squad_id")
    return CoachAssignment.objects.filter(
        holds_on(today),
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


def list_athletes_without_consent(purpose: Consent.Purpose, *, today: date) -> QuerySet[Athlete]:
    """Return the athletes, archived ones aside, whom no consent covers today.

    The same rule as of `list_consent_states`: the consent that began last says it.
    """
    latest = Consent.objects.filter(
        athlete=OuterRef("pk"), purpose=purpose, from_date__lte=today
    ).order_by("-from_date")
    return (
        Athlete.objects.filter(archived_at=None)
        .alias(
            given_date=Subquery(latest.values("from_date")[:1]),
            withdrawn_date=Subquery(latest.values("withdrawn_date")[:1]),
        )
        .filter(Q(given_date=None) | Q(withdrawn_date__lte=today))
    )
