"""Athletes' times in squads."""

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

from athletes.models import Athlete, SquadMember
from athletes.services.days import check_days
from clubs.models import Club, Squad
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import NotFoundError
from common.refusals import refuse_duplicates
from common.versions import Expected, change_row


def add_squad_member(
    *,
    club: Club,
    squad: Squad,
    athlete: Athlete,
    from_date: date,
    until_date: date | None = None,
    caller: Caller | None = None,
) -> SquadMember:
    """Put an athlete into a squad from a day on.

    Raises
    ------
    AlreadyExistsError
        The athlete is in this squad on some of these days.
    InvalidInputError
        The last day is before the first.
    """
    check_days(from_date, until_date)
    with club_scope(club):
        with refuse_duplicates("athlete", "The athlete is in this squad on some of these days."):
            member = SquadMember.objects.create(
                club=club,
                squad=squad,
                athlete=athlete,
                from_date=from_date,
                until_date=until_date,
            )
        auditing.record_audit(
            club=club,
            caller=caller,
            action="squad_member_added",
            subjects={"squad_member": [member.id]},
        )
        return member


def change_squad_member(
    *,
    club: Club,
    squad_id: UUID,
    squad_member_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: Caller | None = None,
) -> SquadMember:
    """End an athlete's time in a squad, or put its days right.

    Raises
    ------
    NotFoundError
        The squad has no such member.
    StaleVersionError
        Somebody else changed it meanwhile.
    AlreadyExistsError
        The athlete has another time in this squad on some of these days.
    InvalidInputError
        The last day is before the first.
    """
    with club_scope(club):
        member = (
            SquadMember.objects.select_for_update(no_key=True)
            .filter(id=squad_member_id, squad_id=squad_id)
            .first()
        )
        if member is None:
            raise NotFoundError
        check_days(
            changes.get("from_date", member.from_date), changes.get("until_date", member.until_date)
        )
        with refuse_duplicates(
            min(changes, default=""), "The athlete is in this squad on some of these days already."
        ):
            changed = change_row(member, expected=expected, changes=changes)
        auditing.record_change(club=club, caller=caller, subject=member, changed=changed)
        return member
