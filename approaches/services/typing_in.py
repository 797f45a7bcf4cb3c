"""Attempts that a person types in, where no device measured them."""

from uuid import UUID, uuid4, uuid5

import msgspec
from django.db.models import QuerySet

from approaches import selectors
from approaches.errors import RefusedRowError
from approaches.services import pushing
from approaches.services.readings import Measured, Reading, Row
from approaches.services.resolving import find_athletes, unknown_athlete
from athletes.models import Athlete
from clubs.models import Club
from clubs.selectors import Caller
from common.club_scope import club_scope


class TypedAttempt(Measured, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """One attempt as a person types it in; its session stands in the address."""


def type_attempt(
    *,
    club: Club,
    source_id: UUID,
    session_id: UUID,
    typed: TypedAttempt,
    key: str | None = None,
    caller: Caller | None = None,
    athletes: QuerySet[Athlete] | None = None,
    dry_run: bool = False,
) -> pushing.RowResult:
    """Store an attempt under a person's own source, with an external id made for it.

    The id is made of `key`, so that an attempt which is sent again under its key is known for ever,
    also when the answers to keys are forgotten: a phone may find a line only days later.

    Nothing of a refused attempt is kept: whoever types it in reads the answer.

    Raises
    ------
    NotFoundError
        The club has no such session.
    RevokedSourceError
        The person's source was closed.
    RefusedRowError
        The attempt breaks a rule or names something unknown.
    ConflictingRowError
        Another attempt was stored under the key.
    """
    with club_scope(club):
        session = selectors.get_session(session_id)
        made_id = uuid4() if key is None else uuid5(session.id, key)
        reading = Reading(
            external_id=f"typed-{made_id}", session=str(session.id), **msgspec.structs.asdict(typed)
        )
        return pushing.record_one(
            club=club,
            source_id=source_id,
            row=Row(0, None, b"", reading, None, reading.external_id),
            caller=caller,
            athletes=athletes,
            dry_run=dry_run,
            keep_refused=False,
        )


def check_seen(typed: TypedAttempt, athletes: QuerySet[Athlete]) -> None:
    """Refuse an attempt of somebody who is not among `athletes`, as storing it would.

    Raises
    ------
    RefusedRowError
        The athlete is unknown.
    """
    if not find_athletes(athletes, [typed.athlete]):
        fault = unknown_athlete(typed.athlete)
        raise RefusedRowError(fault.detail, faults=[fault])
