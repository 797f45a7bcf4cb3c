"""Changes to a club's people, places and tokens."""

import secrets
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID
from zoneinfo import available_timezones

from django.db import connection
from django.utils import timezone

from clubs import selectors
from clubs.models import (
    AccessToken,
    AuditEntry,
    Board,
    Club,
    Membership,
    Role,
    Runway,
    Source,
    SourceKind,
    Squad,
    User,
)
from common.club_scope import club_scope
from common.errors import AlreadyExistsError, Fault, InvalidInputError
from common.refusals import refuse_duplicates
from common.request_id import current_request_id

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


@dataclass(frozen=True, slots=True)
class NewToken:
    """A token just made; `secret` is shown this once and stored nowhere."""

    token: AccessToken
    secret: str


def found_club(
    *, club_id: UUID | None = None, slug: str, name: str, country: str, time_zone: str = "UTC"
) -> Club:
    """Found a club.

    Raises
    ------
    AlreadyExistsError
        A club with this short name exists.
    InvalidInputError
        There is no such time zone.
    """
    if time_zone not in available_timezones():
        raise InvalidInputError(
            faults=[Fault("/time_zone", "unknown_time_zone", f"There is no time zone {time_zone}.")]
        )
    if selectors.find_club_id(slug) is not None:
        raise AlreadyExistsError(f"A club with the short name {slug} exists.")
    club_id = club_id or _new_key()
    with club_scope(club_id):
        return Club.objects.create(
            id=club_id, slug=slug, name=name, country=country, time_zone=time_zone
        )


def _new_key() -> UUID:
    """Ask the database for a key: the wall must know a club's id before the club exists."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT uuidv7()")
        (key,) = cursor.fetchone()
    return UUID(str(key))


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


def add_squad(*, club: Club, name: str) -> Squad:
    """Make a squad."""
    with club_scope(club), refuse_duplicates("name", f"There is a squad {name} already."):
        return Squad.objects.create(club=club, name=name)


def add_runway(
    *,
    club: Club,
    name: str,
    surface: str,
    indoor: bool = False,
    altitude_m: float = 0.0,
    direction_deg: float | None = None,
    length_m: float | None = None,
    boards: Iterable[tuple[str, float]] = (),
) -> Runway:
    """Make a runway with its boards, each an event and its distance to the pit."""
    with club_scope(club), refuse_duplicates("name", f"There is a runway {name} already."):
        runway = Runway.objects.create(
            club=club,
            name=name,
            surface=surface,
            indoor=indoor,
            altitude_m=altitude_m,
            direction_deg=direction_deg,
            length_m=length_m,
        )
        for event, to_pit_m in boards:
            Board.objects.create(club=club, runway=runway, event=event, to_pit_m=to_pit_m)
        return runway


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
        record_audit(
            club=club, caller=caller, action="source_added", subjects={"source": [source.id]}
        )
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
        A scope is unknown or not for this holder, or the expiry has passed.
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
    if faults:
        raise InvalidInputError(faults=faults)

    kind = "device" if source is not None else "person"
    public_id = secrets.token_hex(8)
    # Hexadecimal, so that the token splits at its underscores only.
    secret = secrets.token_hex(24)
    body = f"{selectors.TOKEN_PREFIX}_{kind}_{public_id}_{secret}"
    with club_scope(club):
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
        record_audit(club=club, caller=caller, action="token_added", subjects={"token": [token.id]})
    return NewToken(token=token, secret=body + selectors.checksum(body))


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
    faults = [
        Fault(f"/scopes/{index}", "scope_not_held", f"Your own token lacks {scope}.")
        for index, scope in enumerate(scopes)
        if scope in PERSON_SCOPES and scope not in caller.scopes
    ]
    if faults:
        raise InvalidInputError(faults=faults)
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


def note_token_use(*, caller: selectors.Caller, today: date) -> None:
    """Remember the day on which a token was used last, with one write a day.

    Coarse on purpose: it tells an admin which token nobody needs, and follows nobody.
    """
    if caller.token_id is None or caller.token_last_used_date == today:
        return
    with club_scope(caller.club):
        AccessToken.objects.filter(id=caller.token_id).update(last_used_date=today)


def record_audit(
    *,
    club: Club,
    caller: selectors.Caller | None,
    action: str,
    subjects: Mapping[str, Iterable[UUID]],
    field_names: Iterable[str] = (),
    counts: Mapping[str, int] | None = None,
) -> None:
    """Note who did what to which rows, in the transaction of the work: ids and names, no values."""
    for kind, ids in subjects.items():
        AuditEntry.objects.create(
            club=club,
            actor_kind="system" if caller is None else caller.actor_kind,
            actor_id=None if caller is None else caller.actor_id,
            action=action,
            subject_kind=kind,
            subject_ids=list(ids),
            field_names=list(field_names),
            counts=dict(counts or {}),
            request_id=current_request_id(),
        )
