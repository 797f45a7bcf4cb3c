"""Questions about athletes, and who may see whom."""

from datetime import date
from uuid import UUID

from django.db.models import Q, QuerySet

from athletes.errors import UnknownAthleteError
from athletes.models import Athlete, CoachAssignment, SquadMember
from clubs.models import Role
from clubs.selectors import DEVICE, Caller


def list_athletes_for(caller: Caller, *, today: date) -> QuerySet[Athlete]:
    """Return the athletes that the caller may see.

    Admins and devices see the whole club, coaches the athletes assigned to them and those of their
    squads, athletes themselves. An assignment holds from its first day to its last.
    """
    if caller.role in {Role.ADMIN, DEVICE}:
        return Athlete.objects.all()
    if caller.role == Role.ATHLETE:
        return Athlete.objects.filter(user=caller.user_id)
    charges = CoachAssignment.objects.filter(_on(today), coach_id=caller.membership_id)
    squads = charges.filter(squad__isnull=False).values("squad_id")
    return Athlete.objects.filter(
        Q(id__in=charges.filter(athlete__isnull=False).values("athlete_id"))
        | Q(id__in=SquadMember.objects.filter(_on(today), squad_id__in=squads).values("athlete_id"))
    )


def _on(day: date) -> Q:
    """Return the condition that a row with from_date and until_date holds on `day`."""
    return Q(from_date__lte=day) & (Q(until_date__isnull=True) | Q(until_date__gte=day))


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
