"""Found a club, and change what it is called and where it is."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID
from zoneinfo import available_timezones

from django.db import connection

from clubs import selectors
from clubs.models import Club
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import AlreadyExistsError, Fault, InvalidInputError
from common.versions import Expected, change_row


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
    _check_time_zone(time_zone)
    if selectors.find_club_id(slug) is not None:
        raise AlreadyExistsError(f"A club with the short name {slug} exists.")
    club_id = club_id or _new_key()
    with club_scope(club_id):
        return Club.objects.create(
            id=club_id, slug=slug, name=name, country=country, time_zone=time_zone
        )


def change_club(
    *,
    club: Club,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: selectors.Caller | None = None,
) -> Club:
    """Change the club's name, country or time zone. Its short name stays: addresses hold it.

    Another time zone moves no day that is written down, and no figure: it says which day it is
    from now on, and when a session that is still open ends.

    Raises
    ------
    StaleVersionError
        Somebody else changed it meanwhile.
    InvalidInputError
        There is no such time zone.
    """
    if "time_zone" in changes:
        _check_time_zone(changes["time_zone"])
    with club_scope(club):
        row = Club.objects.select_for_update(no_key=True).get(id=club.id)
        changed = change_row(row, expected=expected, changes=changes)
        auditing.record_change(club=club, caller=caller, subject=row, changed=changed)
        return row


def _check_time_zone(name: str) -> None:
    if name not in available_timezones():
        raise InvalidInputError(
            faults=[Fault("/time_zone", "unknown_time_zone", f"There is no time zone {name}.")]
        )


def _new_key() -> UUID:
    """Ask the database for a key: the wall must know a club's id before the club exists."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT uuidv7()")
        (key,) = cursor.fetchone()
    return UUID(str(key))
