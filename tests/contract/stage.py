"""A club in which every example of the schema can be sent, and one caller of each kind."""

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

from django.db import transaction
from django.utils import timezone

from athletes.services import coaching
from clubs.models import AccessToken, Club, Membership, Role
from clubs.services.access import DEVICE_SCOPES, PERSON_SCOPES
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World
from tests.api.test_isolation import own_ids
from tests.contract.openapi import JSON, Example, Operation

# What the examples name. Ids in them are replaced: nobody can choose an id.
ATHLETE_CODE, APPROACH_CODE, SESSION_CODE = "A-17", "LJ-16", "2026-05-02-am"
_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")

# Each kind of caller, as docs/api/rights.md names it.
CALLERS = ("admin", "coach", "other coach", "athlete", "other athlete", "device")
# Why a token may be good for nothing.
DEAD_TOKENS = ("revoked", "expired", "of an ended membership")


@dataclass(frozen=True)
class Stage(World):
    """The club, and an id for each name that an address or a body may ask for."""

    ids: dict[str, object]
    members: dict[str, Membership]

    def send(
        self,
        operation: Operation,
        *,
        token: str | None,
        example: Example | None = None,
        **headers: str,
    ) -> Any:
        """Send what the schema says, with the first example unless another is given."""
        if example is None and operation.bodies:
            example = operation.examples()[0]
        body = None if example is None else fill_in(example.value, self.ids)
        media_type = JSON if example is None else example.media_type
        if body is not None and not isinstance(body, str):
            body = json.dumps(body)
        if "If-Match" in operation.headers:
            headers.setdefault("If-Match", "*")
        if "Idempotency-Key" in operation.headers:
            headers.setdefault("Idempotency-Key", uuid4().hex)
        api = Api(self.club.slug, token)
        path = api.base + operation.path.format(**self.ids)
        return api.client.generic(
            operation.method, path, body or "", content_type=media_type, headers=headers
        )

    def token_of(self, who: str, *, scopes: set[str] | None = None) -> str:
        """Return a token of one kind of caller, cut down to some scopes."""
        if who == "device":
            return factories.make_device_token(
                self.club, source=self.source, scopes=DEVICE_SCOPES if scopes is None else scopes
            )
        return factories.make_person_token(
            self.members[who], scopes=PERSON_SCOPES if scopes is None else scopes
        )


def make_stage() -> Stage:
    club = factories.make_club()
    members = {
        "admin": factories.make_member(club, Role.ADMIN),
        "coach": factories.make_member(club, Role.COACH),
        "other coach": factories.make_member(club, Role.COACH),
        "athlete": factories.make_member(club, Role.ATHLETE),
        "other athlete": factories.make_member(club, Role.ATHLETE),
    }
    athlete = factories.make_athlete(club, code=ATHLETE_CODE, user=members["athlete"].user)
    approach = factories.make_approach(athlete, code=APPROACH_CODE)
    source = factories.make_source(club)
    world = World(
        club=club,
        source=source,
        athlete=athlete,
        approach=approach,
        plan=factories.make_plan(approach),
        session=factories.make_session(club, code=SESSION_CODE),
        tokens={
            **{who: factories.make_person_token(member) for who, member in members.items()},
            "device": factories.make_device_token(club, source=source),
        },
    )
    charge = coaching.assign_coach(
        club=club, coach=members["coach"], athlete=athlete, from_date=date(2026, 1, 1)
    )
    return Stage(
        **{name: getattr(world, name) for name in World.__dataclass_fields__},
        ids={**own_ids(world), "assignment_id": charge.id},
        members=members,
    )


def fill_in(value: Any, ids: dict[str, object], name: str = "") -> Any:
    """Return an example's value with the ids of this club where it prints some."""
    if isinstance(value, dict):
        return {key: fill_in(inner, ids, key) for key, inner in value.items()}
    if isinstance(value, list):
        return [fill_in(inner, ids, name) for inner in value]
    if isinstance(value, str) and _ID.fullmatch(value):
        wanted = name if name.endswith("_id") else f"{name}_id"
        assert wanted in ids, f"teach own_ids of tests/api/test_isolation.py {wanted}"
        return str(ids[wanted])
    return value


@contextmanager
def undone() -> Iterator[None]:
    """Undo what is done inside, so that what comes next finds the club as it was."""
    mark = transaction.savepoint()
    try:
        yield
    finally:
        transaction.savepoint_rollback(mark)


def make_dead_tokens(stage: Stage) -> dict[str, str]:
    """Return tokens that were an admin's, by why they are good for nothing any more."""
    club, now = stage.club, timezone.now()
    leaver = factories.make_member(club, Role.ADMIN)
    revoked, expired = (factories.make_person_token(stage.members["admin"]) for _ in range(2))
    ended = factories.make_person_token(leaver)
    _change_token(club, revoked, revoked_at=now)
    _change_token(club, expired, expires_at=now - timedelta(seconds=1))
    with club_scope(club):
        Membership.objects.filter(id=leaver.id).update(ended_at=now)
    return dict(zip(DEAD_TOKENS, (revoked, expired, ended), strict=True))


def _change_token(club: Club, secret: str, **fields: Any) -> None:
    with club_scope(club):
        AccessToken.objects.filter(public_id=secret.split("_")[2]).update(**fields)
