"""Who gets into the demo club with what: tokens and passwords, kept in a private file."""

from __future__ import annotations

import json
import os
import secrets
from collections.abc import Collection
from dataclasses import asdict, dataclass
from pathlib import Path

from clubs import selectors
from clubs.errors import NotAuthenticatedError
from clubs.models import Club, Membership, Role, Source, User
from clubs.services import access
from common.club_scope import club_scope
from fixtures_demo.loading import ADMIN_EMAIL, CLUB_ID, COACH_EMAIL, SLUG, SOURCE_NAME

DEVICE_SCOPES = ("plans:read", "attempts:write", "gates:write")
COACH_SCOPES = (
    "club:read",
    "athletes:read",
    "plans:read",
    "plans:write",
    "attempts:read",
    "attempts:write",
    "gates:write",
    "analytics:read",
    "analytics:write",
)
ADMIN_SCOPES = access.PERSON_SCOPES


@dataclass(frozen=True, slots=True)
class Access:
    """What the sample scripts and a visitor need."""

    base_url: str
    club: str
    device_token: str
    coach_token: str
    admin_token: str
    admin_email: str
    admin_password: str
    coach_email: str
    coach_password: str


def give_access(path: Path, *, base_url: str) -> Access:
    """Return what gets into the demo club, and write it to `path` for its owner's eyes only.

    What the file holds already is kept as long as it still works.
    """
    known = _read(path)
    # Asked before the scope opens: a token leads into a scope of its own.
    kept = {name: known[name] for name in _ROLES if _works(known.get(name, ""), _ROLES[name])}
    with club_scope(CLUB_ID):
        club = Club.objects.get(id=CLUB_ID)
        found = Access(
            base_url=base_url,
            club=SLUG,
            device_token=kept.get("device_token") or _device_token(club),
            coach_token=kept.get("coach_token") or _person_token(club, COACH_EMAIL, COACH_SCOPES),
            admin_token=kept.get("admin_token") or _person_token(club, ADMIN_EMAIL, ADMIN_SCOPES),
            admin_email=ADMIN_EMAIL,
            admin_password=_password_of(ADMIN_EMAIL, known.get("admin_password", "")),
            coach_email=COACH_EMAIL,
            coach_password=_password_of(COACH_EMAIL, known.get("coach_password", "")),
        )
    if asdict(found) != known:
        _write(path, json.dumps(asdict(found), indent=2) + "\n")
    return found


_ROLES = {"device_token": selectors.DEVICE, "coach_token": Role.COACH, "admin_token": Role.ADMIN}


def _device_token(club: Club) -> str:
    source = Source.objects.get(name=SOURCE_NAME)
    for token in selectors.list_tokens_of(source).filter(revoked_at=None):
        # Nobody knows their secrets any more, and a source has two live tokens at most.
        access.revoke_token(club=club, source_id=source.id, token_id=token.id)
    return access.add_token(
        club=club, name="Demo gates", scopes=DEVICE_SCOPES, source=source
    ).secret


def _person_token(club: Club, email: str, scopes: Collection[str]) -> str:
    member = Membership.objects.get(user__email=email)
    return access.add_token(club=club, name="Demo", scopes=scopes, membership=member).secret


def _works(token: str, role: str) -> bool:
    try:
        caller = selectors.find_caller(token)
    except NotAuthenticatedError:
        return False
    return caller.club.id == CLUB_ID and caller.role == role


def _password_of(email: str, known: str) -> str:
    user = User.objects.get(email=email)
    if known and user.check_password(known):
        return known
    password = secrets.token_urlsafe(12)
    user.set_password(password)
    user.save(update_fields=["password"])
    return password


def _read(path: Path) -> dict[str, str]:
    """Return what the file holds; a broken one counts as none, and is written anew."""
    try:
        known = json.loads(path.read_text())
    except (FileNotFoundError, ValueError):
        return {}
    return known if isinstance(known, dict) else {}


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    unfinished = path.with_suffix(".unfinished")
    unfinished.unlink(missing_ok=True)
    with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(text)
    unfinished.replace(path)
