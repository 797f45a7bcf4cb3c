"""Make and change sessions: the club's training, testing and competition days."""

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

from approaches.models import Session, SessionKind
from approaches.services.resolving import check_code
from clubs.models import Club, Runway
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import NotFoundError
from common.refusals import refuse_duplicates
from common.versions import Expected, change_row


def add_session(
    *,
    club: Club,
    code: str,
    held_date: date,
    kind: SessionKind,
    runway: Runway | None = None,
    weather: str = "",
    field_size: int | None = None,
    caller: Caller | None = None,
) -> Session:
    """Make a session.

    Raises
    ------
    AlreadyExistsError
        The club has a session with this code.
    InvalidInputError
        The code looks like an id.
    """
    check_code(code)
    with club_scope(club):
        with refuse_duplicates("code", f"There is a session {code} already."):
            session = Session.objects.create(
                club=club,
                code=code,
                held_date=held_date,
                kind=kind,
                runway=runway,
                weather=weather,
                field_size=field_size,
            )
        auditing.record_audit(
            club=club, caller=caller, action="session_added", subjects={"session": [session.id]}
        )
        return session


def change_session(
    *,
    club: Club,
    session_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: Caller | None = None,
) -> Session:
    """Put right what is known of a session.

    Figures follow when attempts started, and which of them belong together: no field of a session
    changes them, its day included.

    Raises
    ------
    NotFoundError
        The club has no such session.
    StaleVersionError
        Somebody else changed it meanwhile.
    AlreadyExistsError
        The club has a session with the new code.
    InvalidInputError
        The new code looks like an id.
    """
    if "code" in changes:
        check_code(changes["code"])
    with club_scope(club):
        session = Session.objects.select_for_update(no_key=True).filter(id=session_id).first()
        if session is None:
            raise NotFoundError
        with refuse_duplicates("code", "There is a session with this code already."):
            changed = change_row(session, expected=expected, changes=changes)
        auditing.record_change(club=club, caller=caller, subject=session, changed=changed)
        return session
