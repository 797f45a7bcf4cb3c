"""Found a club."""

from uuid import UUID
from zoneinfo import available_timezones

from django.db import connection

from clubs import selectors
from clubs.models import Club
from common.club_scope import club_scope
from common.errors import AlreadyExistsError, Fault, InvalidInputError


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
