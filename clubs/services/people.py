"""Members and squads."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from clubs import selectors
from clubs.models import Club, Membership, Role, Source, SourceKind, Squad, User
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import NotFoundError
from common.refusals import refuse_duplicates
from common.versions import Expected, archiving, change_row


def add_member(*, club: Club, email: str, role: Role, password: str | None = None) -> Membership:
    """Give a person a role in the club, with a log-in made when there is none yet.

    A coach or athlete gets a built-in source too, for attempts typed in by hand.
    """
    with club_scope(club):
        user = User.objects.filter(email__iexact=email).first()
        if user is None:
            user = User(email=User.objects.normalize_email(email).lower())
            user.set_password(password)
            user.save(force_insert=True)
        with refuse_duplicates("email", f"{email} is a member already."):
            membership = Membership.objects.create(club=club, user=user, role=role)
        Source.objects.create(
            club=club,
            name=f"Typed in by {membership.id}",
            kind=SourceKind.PERSON,
            membership=membership,
        )
        return membership


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
