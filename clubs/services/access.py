"""Who may push and ask: sources and tokens."""

import secrets
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.utils import timezone

from clubs import selectors
from clubs.errors import MembershipEndedError, TooManyTokensError
from clubs.models import AccessToken, Club, Membership, Source, SourceKind
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError, NotFoundError
from common.refusals import refuse_duplicates
from common.versions import Expected, change_row

# What a token may be made for, and who may hold it.
DEVICE_SCOPES = frozenset({"plans:read", "attempts:write", "gates:write"})
PERSON_SCOPES = DEVICE_SCOPES | {
    "club:read",
    "club:write",
    "athletes:read",
    "athletes:write",
    "plans:write",
    "attempts:read",
    "analytics:read",
    "analytics:write",
}

# One that works, and one to change over to.
LIVE_TOKENS_PER_SOURCE = 2


@dataclass(frozen=True, slots=True)
class NewToken:
    """A token just made; `secret` is shown this once and stored nowhere."""

    token: AccessToken
    secret: str


def add_source(
    *, club: Club, name: str, kind: SourceKind, caller: selectors.Caller | None = None
) -> Source:
    """Make a source that may be given tokens.

    Raises
    ------
    InvalidInputError
        The kind is `person`: a person's source comes with the membership.
    AlreadyExistsError
        The club has a source of this name.
    """
    if kind == SourceKind.PERSON:
        raise InvalidInputError(
            faults=[Fault("/kind", "not_allowed_here", "A person's source comes by itself.")]
        )
    with club_scope(club), refuse_duplicates("name", f"There is a source {name} already."):
        source = Source.objects.create(club=club, name=name, kind=kind)
        auditing.record_audit(
            club=club, caller=caller, action="source_added", subjects={"source": [source.id]}
        )
        return source


def change_source(
    *,
    club: Club,
    source_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: selectors.Caller | None = None,
) -> Source:
    """Rename a source, close it or open it again.

    What a closed one pushes is refused from the next request on; what it pushed stays.

    Raises
    ------
    NotFoundError
        The club has no such source.
    StaleVersionError
        Somebody else changed it meanwhile.
    AlreadyExistsError
        The club has a source of the new name.
    InvalidInputError
        It is a person's: that one comes and goes with the membership.
    """
    with club_scope(club):
        source = Source.objects.select_for_update(no_key=True).filter(id=source_id).first()
        if source is None:
            raise NotFoundError
        if source.kind == SourceKind.PERSON:
            raise InvalidInputError(
                faults=[Fault("", "not_allowed_here", "A person's source follows the membership.")]
            )
        moved = dict(changes)
        if "closed" in moved:
            closed = moved.pop("closed")
            moved["closed_at"] = (source.closed_at or timezone.now()) if closed else None
        with refuse_duplicates("name", "There is a source of this name already."):
            changed = change_row(source, expected=expected, changes=moved)
        auditing.record_change(club=club, caller=caller, subject=source, changed=changed)
        return source


def add_token(
    *,
    club: Club,
    name: str,
    scopes: Collection[str],
    source: Source | None = None,
    membership: Membership | None = None,
    expires_at: datetime | None = None,
    caller: selectors.Caller | None = None,
) -> NewToken:
    """Make an access token for a source or for a person.

    Raises
    ------
    InvalidInputError
        A scope is unknown or not for this holder, the expiry has passed, or the source is a
        person's: people have tokens of their own, which end with the membership.
    TooManyTokensError
        The source has two live tokens already.
    """
    allowed = DEVICE_SCOPES if source is not None else PERSON_SCOPES
    faults = [
        Fault(f"/scopes/{index}", "unknown_scope", f"{scope} is not one of {sorted(allowed)}.")
        for index, scope in enumerate(scopes)
        if scope not in allowed
    ]
    if not scopes:
        faults.append(Fault("/scopes", "required", "A token needs at least one scope."))
    if expires_at is not None and expires_at <= timezone.now():
        faults.append(Fault("/expires_at", "in_the_past", "The expiry has passed already."))
    if source is not None and source.kind == SourceKind.PERSON:
        faults.append(Fault("", "not_allowed_here", "A person pushes with a token of their own."))
    if faults:
        raise InvalidInputError(faults=faults)

    kind = "device" if source is not None else "person"
    public_id = secrets.token_hex(8)
    # Hexadecimal, so that the token splits at its underscores only.
    secret = secrets.token_hex(24)
    body = f"{selectors.TOKEN_PREFIX}_{kind}_{public_id}_{secret}"
    with club_scope(club):
        if source is not None:
            _refuse_a_third(source)
        token = AccessToken.objects.create(
            club=club,
            public_id=public_id,
            secret_hash=selectors.hash_secret(secret),
            name=name,
            scopes=sorted(set(scopes)),
            source=source,
            membership=membership,
            expires_at=expires_at,
        )
        auditing.record_audit(
            club=club, caller=caller, action="token_added", subjects={"token": [token.id]}
        )
    return NewToken(token=token, secret=body + selectors.checksum(body))


def _refuse_a_third(source: Source) -> None:
    # Two tokens made at once would both be the second; the source's row is their queue.
    Source.objects.select_for_update(no_key=True).get(id=source.id)
    live = (
        selectors.list_tokens_of(source)
        .filter(revoked_at=None)
        .exclude(expires_at__lte=timezone.now())
    )
    if live.count() >= LIVE_TOKENS_PER_SOURCE:
        raise TooManyTokensError


def revoke_token(
    *,
    club: Club,
    token_id: UUID,
    source_id: UUID | None = None,
    membership_id: UUID | None = None,
    caller: selectors.Caller | None = None,
) -> None:
    """End a token of a source or of a person for good; ending it again changes nothing.

    Raises
    ------
    NotFoundError
        The holder has no such token.
    """
    with club_scope(club):
        token = AccessToken.objects.select_for_update(no_key=True).filter(id=token_id).first()
        if token is None or (token.source_id, token.membership_id) != (source_id, membership_id):
            raise NotFoundError
        if token.revoked_at is None:
            token.revoked_at = timezone.now()
            token.save(update_fields=["revoked_at"])
            auditing.record_audit(
                club=club, caller=caller, action="token_revoked", subjects={"token": [token.id]}
            )


def add_own_token(
    *,
    caller: selectors.Caller,
    name: str,
    scopes: Collection[str],
    expires_at: datetime | None = None,
) -> NewToken:
    """Make a token for the person who asks, with no scope that the asking token lacks.

    Raises
    ------
    InvalidInputError
        A scope is unknown or not held by the caller.
    """
    _refuse_scopes_not_held(scopes, caller)
    with club_scope(caller.club):
        membership = selectors.get_membership_of(caller)
        return add_token(
            club=caller.club,
            name=name,
            scopes=scopes,
            membership=membership,
            expires_at=expires_at,
            caller=caller,
        )


def add_member_token(
    *,
    club: Club,
    member_id: UUID,
    name: str,
    scopes: Collection[str],
    expires_at: datetime | None = None,
    caller: selectors.Caller,
) -> NewToken:
    """Make a token to be handed to a member, with no scope that the asking token lacks.

    It is how a new member gets in; from then on they make their own.

    Raises
    ------
    NotFoundError
        The club has no such member.
    MembershipEndedError
        The person is no member any more.
    InvalidInputError
        A scope is unknown or not held by the caller, or the expiry has passed.
    """
    _refuse_scopes_not_held(scopes, caller)
    with club_scope(club):
        member = selectors.get_member(member_id)
        if member.ended_at is not None:
            raise MembershipEndedError
        return add_token(
            club=club,
            name=name,
            scopes=scopes,
            membership=member,
            expires_at=expires_at,
            caller=caller,
        )


def _refuse_scopes_not_held(scopes: Collection[str], caller: selectors.Caller) -> None:
    faults = [
        Fault(f"/scopes/{index}", "scope_not_held", f"Your own token lacks {scope}.")
        for index, scope in enumerate(scopes)
        if scope in PERSON_SCOPES and scope not in caller.scopes
    ]
    if faults:
        raise InvalidInputError(faults=faults)


def note_token_use(*, caller: selectors.Caller, today: date) -> None:
    """Remember the day on which a token was used last, with one write a day.

    Coarse on purpose: it tells an admin which token nobody needs, and follows nobody.
    """
    if caller.token_id is None or caller.token_last_used_date == today:
        return
    with club_scope(caller.club):
        AccessToken.objects.filter(id=caller.token_id).update(last_used_date=today)
