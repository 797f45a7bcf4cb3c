"""Who coaches whom."""

from datetime import date

from athletes.models import Athlete, CoachAssignment
from clubs.models import Club, Membership, Squad
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope


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
