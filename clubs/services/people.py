"""Members and squads."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.contrib.auth.hashers import make_password
from django.utils import timezone

from clubs import selectors
from clubs.errors import LastAdminError
from clubs.models import Club, Membership, Role, Source, SourceKind, Squad, User
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import NotFoundError
from common.refusals import refuse_duplicates
from common.versions import Expected, archiving, change_row


def add_member(
    *,
    club: Club,
    email: str,
    role: Role,
    password: str | None = None,
    caller: selectors.Caller | None = None,
) -> Membership:
    """Give a person a role in the club, with a log-in made when there is none yet.

    Everybody gets a built-in source too, for attempts typed in by hand. Whether the address had a
    log-in before, in this club or another, cannot be told from what is returned.

    Raises
    ------
    AlreadyExistsError
        The person is or was a member; a membership that has ended can be taken up again.
    """
    with club_scope(club):
        # Two clubs may add the same person at once: whoever comes second finds the log-in.
        user, _made = User.objects.get_or_create(
            email__iexact=email,
            defaults={
                "email": User.objects.normalize_email(email).lower(),
                "password": make_password(password),
            },
        )
        with refuse_duplicates("email", f"{email} is a member already, or was one before."):
            membership = Membership.objects.create(club=club, user=user, role=role)
        Source.objects.create(
            club=club,
            name=f"Typed in by {membership.id}",
            kind=SourceKind.PERSON,
            membership=membership,
        )
        auditing.record_audit(
            club=club,
            caller=caller,
            action="membership_added",
            subjects={"membership": [membership.id]},
        )
        return membership


def change_member(
    *,
    club: Club,
    member_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: selectors.Caller | None = None,
) -> Membership:
    """Give a member another role, end the membership or take it up again.

    It holds from the next request on: the role is looked up with the token, and the tokens of an
    ended membership are good for nothing. The person's own source closes and opens with it.

    Raises
    ------
    NotFoundError
        The club has no such member.
    StaleVersionError
        Somebody else changed it meanwhile.
    LastAdminError
        The club would be left without an admin.
    """
    with club_scope(club):
        # Two admins who end each other at the same moment would both find one left; the club's
        # row is their queue.
        Club.objects.select_for_update(no_key=True).get(id=club.id)
        member = (
            Membership.objects.select_for_update(no_key=True, of=("self",))
            .select_related("user")
            .filter(id=member_id)
            .first()
        )
        if member is None:
            raise NotFoundError
        was_admin = _is_admin(member)
        moved = dict(changes)
        if "ended" in moved:
            ended = moved.pop("ended")
            moved["ended_at"] = (member.ended_at or timezone.now()) if ended else None
        changed = change_row(member, expected=expected, changes=moved)
        if was_admin and not _is_admin(member) and not selectors.list_admins().exists():
            raise LastAdminError
        if "ended_at" in changed:
            Source.objects.filter(membership=member).update(closed_at=member.ended_at)
        auditing.record_change(club=club, caller=caller, subject=member, changed=changed)
        return member


def _is_admin(member: Membership) -> bool:
    return member.role == Role.ADMIN and member.ended_at is None


def add_squad(*, club: Club, name: str, caller: selectors.Caller | None = None) -> Squad:
    """Make a squad.

    Raises
    ------
    AlreadyExistsError
        The club has a squad of this name.
    """
    with club_scope(club):
        with refuse_duplicates("name", f"There is a squad {name} already."):
            squad = Squad.objects.create(club=club, name=name)
        auditing.record_audit(
            club=club, caller=caller, action="squad_added", subjects={"squad": [squad.id]}
        )
        return squad


def change_squad(
    *,
    club: Club,
    squad_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: selectors.Caller | None = None,
) -> Squad:
    """Rename a squad, archive it or bring it back.

    Raises
    ------
    NotFoundError
        The club has no such squad.
    StaleVersionError
        Somebody else changed it meanwhile.
    AlreadyExistsError
        The club has a squad of the new name.
    """
    with club_scope(club):
        squad = Squad.objects.select_for_update(no_key=True).filter(id=squad_id).first()
        if squad is None:
            raise NotFoundError
        with refuse_duplicates("name", "There is a squad of this name already."):
            changed = change_row(squad, expected=expected, changes=archiving(squad, changes))
        auditing.record_change(club=club, caller=caller, subject=squad, changed=changed)
        return squad
