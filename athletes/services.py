"""Changes to athletes' records."""

from datetime import date

from athletes.models import Athlete, CoachAssignment, Foot, SquadMember
from clubs.models import Club, Membership, Squad, User
from clubs.selectors import Caller, today_at
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError
from common.refusals import refuse_duplicates


def add_athlete(
    *,
    club: Club,
    code: str,
    given_name: str,
    family_name: str,
    birth_date: date,
    take_off_foot: Foot | None = None,
    shoe_length_m: float | None = None,
    user: User | None = None,
    caller: Caller | None = None,
) -> Athlete:
    """Enter an athlete into the club's records.

    Raises
    ------
    AlreadyExistsError
        The club has an athlete with this code.
    InvalidInputError
        The birth date lies ahead.
    """
    if birth_date > today_at(club):
        raise InvalidInputError(
            faults=[Fault("/birth_date", "in_the_future", "The birth date lies ahead.")]
        )
    with club_scope(club):
        with refuse_duplicates("code", f"There is an athlete {code} already."):
            athlete = Athlete.objects.create(
                club=club,
                code=code,
                given_name=given_name,
                family_name=family_name,
                birth_date=birth_date,
                take_off_foot=take_off_foot,
                shoe_length_m=shoe_length_m,
                user=user,
            )
        auditing.record_audit(
            club=club, caller=caller, action="athlete_added", subjects={"athlete": [athlete.id]}
        )
        return athlete


def add_squad_member(
    *, club: Club, squad: Squad, athlete: Athlete, from_date: date, caller: Caller | None = None
) -> SquadMember:
    """Put an athlete into a squad from a day on.

    Raises
    ------
    AlreadyExistsError
        The athlete is in this squad.
    """
    with club_scope(club):
        with refuse_duplicates("athlete", "The athlete is in this squad already."):
            member = SquadMember.objects.create(
                club=club, squad=squad, athlete=athlete, from_date=from_date
            )
        auditing.record_audit(
            club=club,
            caller=caller,
            action="squad_member_added",
            subjects={"squad_member": [member.id]},
        )
        return member


def assign_coach(
    *,
    club: Club,
    coach: Membership,
    from_date: date,
    squad: Squad | None = None,
    athlete: Athlete | None = None,
    caller: Caller | None = None,
) -> CoachAssignment:
    """Give a coach the charge of a squad or of one athlete from a day on."""
    with club_scope(club):
        assignment = CoachAssignment.objects.create(
            club=club, coach=coach, squad=squad, athlete=athlete, from_date=from_date
        )
        auditing.record_audit(
            club=club,
            caller=caller,
            action="coach_assigned",
            subjects={"coach_assignment": [assignment.id]},
        )
        return assignment
