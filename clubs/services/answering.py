"""Writes that may be sent again: what was answered is kept for a day, and answered again."""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.db import connection
from django.utils import timezone

from clubs import selectors
from clubs.errors import InFlightError, KeyReusedError
from clubs.models import AnsweredRequest
from common.club_scope import club_scope

KEPT_FOR = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Asked:
    """A write as the client named it: who, what, where, and under which key."""

    caller: selectors.Caller
    method: str
    path: str
    key: str
    content: bytes  # the body and the parameters, in one fixed form

    @property
    def principal_id(self) -> UUID:
        """Return who asks: a source or a person, whichever of their tokens they use."""
        holder = self.caller.source_id or self.caller.membership_id
        assert holder is not None  # noqa: S101  # every caller is one or the other
        return holder


@dataclass(frozen=True, slots=True)
class Answer:
    """What a write was answered."""

    status: int
    body: Any
    headers: Mapping[str, str] = field(default_factory=dict)
    repeated: bool = False


def answer_once(
    asked: Asked,
    work: Callable[[], Answer],
    *,
    check: Callable[[], object] | None,
    secret_fields: frozenset[str],
) -> Answer:
    """Do the work, or answer what was answered when it was done before under the same key.

    The answer is stored in the transaction of the work, so that one is never there without the
    other; what was refused is not stored, and may be tried again. Of `secret_fields` no value is
    kept: in a repeated answer they are null.

    `check` refuses who may not see (any more) whom the answer is about: it is asked, in the scope
    of the club, before a kept answer is given out again. The work itself asks anyway.

    Raises
    ------
    InFlightError
        The same request is being answered at this moment.
    KeyReusedError
        The key was used for another request.
    """
    asked_hash = hashlib.sha256(asked.content).digest()
    known = {
        "principal_id": asked.principal_id,
        "method": asked.method,
        "path": asked.path,
        "key": asked.key,
    }
    with club_scope(asked.caller.club):
        _take_turn(f"{asked.caller.club.id} {known}")
        earlier = AnsweredRequest.objects.filter(**known).first()
        if earlier is not None and earlier.answered_at > timezone.now() - KEPT_FOR:
            if bytes(earlier.asked_hash) != asked_hash:
                raise KeyReusedError
            if check is not None:
                check()
            return Answer(earlier.status, earlier.answer, earlier.headers, repeated=True)
        answer = work()
        body = answer.body
        if secret_fields and isinstance(body, dict):
            body = {name: None if name in secret_fields else body[name] for name in body}
        AnsweredRequest.objects.filter(**known).delete()
        AnsweredRequest.objects.create(
            club=asked.caller.club,
            **known,
            asked_hash=asked_hash,
            status=answer.status,
            headers=dict(answer.headers),
            answer=body,
        )
        return answer


def _take_turn(name: str) -> None:
    """Let one of several equal requests through; the lock ends with the transaction."""
    digest = hashlib.blake2b(name.encode(), digest_size=8).digest()
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_try_advisory_xact_lock(%s)", [int.from_bytes(digest, "big", signed=True)]
        )
        (taken,) = cursor.fetchone()
    if not taken:
        raise InFlightError


def forget_answers() -> int:
    """Delete every club's answers that are older than a day; return how many."""
    forgotten = 0
    for club_id in selectors.list_club_ids():
        with club_scope(club_id):
            old = AnsweredRequest.objects.filter(answered_at__lte=timezone.now() - KEPT_FOR)
            forgotten += old.delete()[0]
    return forgotten
