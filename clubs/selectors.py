"""Questions about clubs, their people and their tokens."""

import hashlib
import hmac
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Self
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import connection
from django.db.models import Case, F, OuterRef, Q, QuerySet, Subquery, UUIDField, When
from django.utils import timezone

from clubs.errors import NotAuthenticatedError, RevokedSourceError, UnknownTokenError
from clubs.models import (
    AccessToken,
    AuditEntry,
    Club,
    Membership,
    Role,
    Runway,
    Source,
    Squad,
    User,
)
from common import prepared
from common.club_scope import club_scope, find_by, scope_entered_by
from common.errors import NotFoundError

# The prefix lets people and secret scanners recognise a token.
TOKEN_PREFIX = "pnl"  # noqa: S105  # a public prefix, no secret
DEVICE = "device"


@dataclass(frozen=True, slots=True)
class Caller:
    """Who is asking: one club, one role, and what the token was made for."""

    club: Club
    role: str  # one of Role, or DEVICE
    scopes: frozenset[str]
    token_id: UUID | None
    source_id: UUID | None
    membership_id: UUID | None
    user_id: UUID | None
    # When the token was used before; None for a first time, or without a token.
    token_last_used_date: date | None = None

    @property
    def actor_kind(self) -> str:
        """Return the word under which the audit knows this caller."""
        return "token" if self.token_id else "membership"

    @property
    def actor_id(self) -> UUID | None:
        return self.token_id or self.membership_id

    @property
    def is_authenticated(self) -> bool:
        """Answer what the REST framework asks of every user."""
        return True


def checksum(text: str) -> str:
    """Return the eight hexadecimal digits that end a token, so that a mistyped one is known."""
    return f"{zlib.crc32(text.encode()):08x}"


def find_caller(presented: str) -> Caller:
    """Return who holds the access token `presented`.

    Raises
    ------
    UnknownTokenError, NotAuthenticatedError
        As in `caller_scope`.
    """
    public_id, secret = _split_token(presented)
    return _holder_of(find_by(lambda: _enter_by_token(public_id)), secret)


@contextmanager
def caller_scope(presented: str) -> Iterator[Caller]:
    """Open a reading scope of the club that an access token belongs to; yield who holds it.

    Raises
    ------
    UnknownTokenError
        Nobody has it.
    NotAuthenticatedError
        It is malformed, expired or revoked, or its source or membership has ended. The
        answer is the same for all of them, so that guessing teaches nothing.
    """
    public_id, secret = _split_token(presented)
    with scope_entered_by(lambda: _enter_by_token(public_id)) as token:
        yield _holder_of(token, secret)


# As the database function answers: the fields of the club, then those of the token.
_CLUB_FIELDS = (
    "id",
    "slug",
    "name",
    "country",
    "time_zone",
    "settings",
    "created_at",
    "version",
)


@dataclass(frozen=True, slots=True)
class _Token:
    """A token with its club and its holder, a source or a member."""

    club: Club
    id: UUID
    secret_hash: bytes
    scopes: list[str]
    expires_at: datetime | None
    revoked_at: datetime | None
    last_used_date: date | None
    source_id: UUID | None
    source_closed_at: datetime | None
    membership_id: UUID | None
    role: str | None
    user_id: UUID | None
    membership_ended_at: datetime | None

    @property
    def club_id(self) -> UUID:
        return self.club.id

    @classmethod
    def of(cls, *columns: Any) -> Self:
        of_club, of_token = columns[: len(_CLUB_FIELDS)], columns[len(_CLUB_FIELDS) :]
        return cls(Club.from_db(connection.alias, _CLUB_FIELDS, of_club), *of_token)


def _enter_by_token(public_id: str) -> _Token:
    token = prepared.find_row(
        "SELECT * FROM penult_enter_by_token(%s)", [public_id], make=_Token.of
    )
    if token is None:
        raise UnknownTokenError
    return token


def _holder_of(token: _Token, secret: str) -> Caller:
    if not hmac.compare_digest(hash_secret(secret), token.secret_hash):
        raise UnknownTokenError
    if not _is_live(token, now=timezone.now()):
        raise NotAuthenticatedError
    return Caller(
        club=token.club,
        role=DEVICE if token.role is None else token.role,
        scopes=frozenset(token.scopes),
        token_id=token.id,
        source_id=token.source_id,
        membership_id=token.membership_id,
        user_id=token.user_id,
        token_last_used_date=token.last_used_date,
    )


def _split_token(presented: str) -> tuple[str, str]:
    prefix, _, rest = presented.partition("_")
    kind, _, rest = rest.partition("_")
    public_id, _, tail = rest.partition("_")
    secret, given = tail[:-8], tail[-8:]
    if prefix != TOKEN_PREFIX or not secret:
        raise NotAuthenticatedError
    if not hmac.compare_digest(
        checksum(f"{prefix}_{kind}_{public_id}_{secret}").encode(), given.encode()
    ):
        raise NotAuthenticatedError
    return public_id, secret


def hash_secret(secret: str) -> bytes:
    """Return what is stored of a secret."""
    # A long random secret needs no slow hash: there is nothing to guess from a dictionary.
    return hashlib.sha256(secret.encode()).digest()


def _is_live(token: _Token, *, now: datetime) -> bool:
    if token.revoked_at is not None or (token.expires_at is not None and token.expires_at <= now):
        return False
    if token.source_id is not None:
        return token.source_closed_at is None
    return token.membership_id is not None and token.membership_ended_at is None


def find_club_id(slug: str) -> UUID | None:
    """Return the id of the club with this short name, or None."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT penult_club_of_slug(%s)", [slug])
        (club_id,) = cursor.fetchone()
    return club_id if isinstance(club_id, UUID) else None


def list_club_ids() -> list[UUID]:
    """Return the ids of every club, for jobs that visit one club after the other."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT penult_all_clubs()")
        return [club_id for (club_id,) in cursor.fetchall()]


def list_memberships_of(user: User) -> list[Membership]:
    """Return where `user` is a member at present, each with its club, by the club's name."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT penult_clubs_of_user(%s)", [user.id])
        club_ids = [club_id for (club_id,) in cursor.fetchall()]
    found: list[Membership] = []
    for club_id in club_ids:
        with club_scope(club_id, read_only=True):
            memberships = Membership.objects.select_related("club")
            found += memberships.filter(user=user, ended_at=None)
    return sorted(found, key=lambda each: each.club.name)


def list_clubs_administered_by(user: User) -> list[Club]:
    """Return the clubs in which `user` is an admin, by name."""
    return [each.club for each in list_memberships_of(user) if each.role == Role.ADMIN]


# What a person may do who logged in on a page: enough for the pages, and no tokens to make, so that
# a log-in left open on a phone at the pit gives nothing that outlasts it.
PAGE_SCOPES = frozenset(
    {"athletes:read", "plans:read", "attempts:read", "attempts:write", "analytics:read"}
)


def get_person(user: User, *, slug: str) -> Caller:
    """Return who a logged-in person is in the club with this short name.

    Raises
    ------
    NotFoundError
        There is no such club, or the person is a stranger there.
    """
    club_id = find_club_id(slug)
    if club_id is None or not user.is_active:
        raise NotFoundError
    with club_scope(club_id, read_only=True):
        membership = (
            Membership.objects.select_related("club").filter(user=user, ended_at=None).first()
        )
    if membership is None:
        raise NotFoundError
    return Caller(
        club=membership.club,
        role=membership.role,
        scopes=PAGE_SCOPES,
        token_id=None,
        source_id=None,
        membership_id=membership.id,
        user_id=user.id,
    )


def list_admins() -> QuerySet[Membership]:
    """Return who may administer the club in scope at present."""
    return Membership.objects.filter(role=Role.ADMIN, ended_at=None, user__is_active=True)


def get_member(member_id: UUID) -> Membership:
    """Return a member of the club in scope, or a former one.

    Raises
    ------
    NotFoundError
        The club has no such member.
    """
    member = Membership.objects.select_related("user").filter(id=member_id).first()
    if member is None:
        raise NotFoundError
    return member


def today_at(club: Club) -> date:
    """Return the day it is where the club is."""
    return timezone.localdate(timezone=ZoneInfo(club.time_zone))


def list_squads() -> QuerySet[Squad]:
    return Squad.objects.all()


def get_squad(squad_id: UUID) -> Squad:
    """Return a squad of the club in scope.

    Raises
    ------
    NotFoundError
        The club has no such squad.
    """
    squad = Squad.objects.filter(id=squad_id).first()
    if squad is None:
        raise NotFoundError
    return squad


def list_runways() -> QuerySet[Runway]:
    return Runway.objects.all()


def list_sources() -> QuerySet[Source]:
    return Source.objects.all()


def get_source(source_id: UUID) -> Source:
    """Return the source of the club in scope.

    Raises
    ------
    NotFoundError
        The club has no such source.
    """
    source = Source.objects.filter(id=source_id).first()
    if source is None:
        raise NotFoundError
    return source


def check_source_is_open(*, club: Club, source_id: UUID) -> None:
    """Refuse a source that may not push; call it in the club's scope.

    Raises
    ------
    NotFoundError
        The club has no such source.
    RevokedSourceError
        It is closed.
    """
    is_closed = prepared.find_row(
        "SELECT closed_at IS NOT NULL FROM clubs_source WHERE club_id = %s AND id = %s",
        [club.id, source_id],
        make=bool,
    )
    if is_closed is None:
        raise NotFoundError
    if is_closed:
        raise RevokedSourceError


def list_tokens_of(source: Source) -> QuerySet[AccessToken]:
    return AccessToken.objects.filter(source=source)


def list_tokens_of_member(member: Membership) -> QuerySet[AccessToken]:
    return AccessToken.objects.filter(membership__isnull=False, membership=member)


def list_own_tokens(caller: Caller) -> QuerySet[AccessToken]:
    """Return the tokens of the person who asks."""
    return AccessToken.objects.filter(membership__isnull=False, membership=caller.membership_id)


def list_audit() -> QuerySet[AuditEntry]:
    """Return who did what in the club in scope, each with whose token it was.

    `member_id` and `source_id` name the person or the source, whichever token they used.
    """
    tokens = AccessToken.objects.filter(club=OuterRef("club"), id=OuterRef("actor_id"))
    return AuditEntry.objects.annotate(
        member_id=Case(
            When(actor_kind="membership", then=F("actor_id")),
            default=Subquery(tokens.values("membership_id")),
            output_field=UUIDField(),
        ),
        source_id=Subquery(tokens.values("source_id"), output_field=UUIDField()),
    )


def list_tokens_held_by(holder_id: UUID) -> QuerySet[AccessToken]:
    """Return every token of a member or of a source."""
    return AccessToken.objects.filter(Q(membership=holder_id) | Q(source=holder_id))


def get_source_of_person(caller: Caller) -> UUID:
    """Return the built-in source of the person who asks.

    Raises
    ------
    NotFoundError
        The person has none.
    """
    with club_scope(caller.club, read_only=True):
        source = Source.objects.filter(
            membership__isnull=False, membership=caller.membership_id
        ).first()
    if source is None:
        raise NotFoundError
    return source.id


def get_runway(runway_id: UUID) -> Runway:
    """Return a runway of the club in scope.

    Raises
    ------
    NotFoundError
        The club has no such runway.
    """
    runway = Runway.objects.filter(id=runway_id).first()
    if runway is None:
        raise NotFoundError
    return runway


def get_membership_of(caller: Caller) -> Membership:
    """Return the membership of the person who asks, in the club in scope.

    Raises
    ------
    NotFoundError
        A device asks.
    """
    if caller.membership_id is None:
        raise NotFoundError
    return Membership.objects.get(id=caller.membership_id)
