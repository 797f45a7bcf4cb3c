"""Members, and which athlete a member is."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.db.models import Q

from athletes import selectors
from athletes.errors import UnknownAthleteError
from athletes.models import Athlete
from clubs.models import Club, Membership, Role
from clubs.selectors import Caller
from clubs.selectors import get_member as get_membership
from clubs.services import auditing, people
from common.club_scope import club_scope
from common.errors import AlreadyExistsError, Fault, InvalidInputError
from common.versions import Expected


def add_member(
    *,
    club: Club,
    email: str,
    role: Role,
    athlete_id: UUID | None = None,
    caller: Caller | None = None,
) -> Membership:
    """Give a person a role in the club; a jumper sees what is kept of the athlete that they are.

    Raises
    ------
    AlreadyExistsError
        The person is a member already, or the athlete is another member.
    UnknownAthleteError
        The club has no such athlete.
    InvalidInputError
        An athlete is named for another role.
    """
    with club_scope(club):
        member = people.add_member(club=club, email=email, role=role, caller=caller)
        if athlete_id is not None:
            _link(club, member, athlete_id, caller)
        return selectors.get_member(member.id)


def change_member(
    *,
    club: Club,
    member_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: Caller | None = None,
) -> Membership:
    """Change a member's role, end the membership or take it up again, or say which athlete it is.

    Raises
    ------
    NotFoundError
        The club has no such member.
    StaleVersionError
        Somebody else changed the member meanwhile, or which athlete it is.
    LastAdminError
        The club would be left without an admin.
    UnknownAthleteError
        The club has no such athlete.
    AlreadyExistsError
        The athlete is another member.
    InvalidInputError
        An athlete is named for another role.
    """
    own = dict(changes)
    linking = "athlete" in own
    athlete_id = own.pop("athlete", None)
    with club_scope(club):
        if linking:
            # Athletes before members, as whoever edits an athlete's log-in locks them.
            user_id = get_membership(member_id).user_id
            list(
                Athlete.objects.select_for_update(no_key=True)
                .filter(Q(user=user_id) | Q(id=athlete_id))
                .order_by("id")
            )
        member = people.change_member(
            club=club, member_id=member_id, expected=expected, changes=own, caller=caller
        )
        if linking:
            _link(club, member, athlete_id, caller)
        return selectors.get_member(member_id)


def _link(club: Club, member: Membership, athlete_id: UUID | None, caller: Caller | None) -> None:
    """Say which athlete a member is; the database counts it as a version of the member, too."""
    before = Athlete.objects.filter(user=member.user_id).first()
    if athlete_id == (None if before is None else before.id):
        return
    after = None
    if athlete_id is not None:
        if member.role != Role.ATHLETE:
            raise InvalidInputError(
                faults=[Fault("/athlete", "not_an_athlete", "The role of this member is another.")]
            )
        after = Athlete.objects.filter(id=athlete_id).first()
        if after is None:
            raise UnknownAthleteError
        if after.user_id is not None:
            detail = "This athlete is another member already."
            raise AlreadyExistsError(
                detail, faults=[Fault("/athlete", AlreadyExistsError.code, detail)]
            )
    for athlete, user_id in ((before, None), (after, member.user_id)):
        if athlete is not None:
            athlete.user_id = user_id
            athlete.save(update_fields=["user"])
            auditing.record_audit(
                club=club,
                caller=caller,
                action="athlete_changed",
                subjects={"athlete": [athlete.id], "membership": [member.id]},
                field_names=["user"],
            )
