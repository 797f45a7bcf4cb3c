"""Athletes' times in squads."""

from datetime import date

from athletes.models import Athlete, SquadMember
from clubs.models import Club, Squad
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.refusals import refuse_duplicates


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
