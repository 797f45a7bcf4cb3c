"""Athletes: entered, changed, archived."""

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

from athletes.errors import UnknownAthleteError
from athletes.models import Athlete, Foot
from clubs.models import Club, User
from clubs.selectors import Caller, today_at
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError
from common.refusals import refuse_duplicates
from common.versions import Expected, archiving, change_row


def add_athlete(
    *,
    club: Club,
    code: str,
    given_name: str,
    family_name: str,
    birth_date: date,
    take_off_foot: Foot | None = None,
    shoe_length_m: float | None = None,
    user: User | None = None,
    caller: Caller | None = None,
) -> Athlete:
    """Enter an athlete into the club's records.

    Raises
    ------
    AlreadyExistsError
        The club has an athlete with this code.
    InvalidInputError
        The birth date lies ahead.
    """
    refuse_days_ahead(club, birth_date=birth_date)
    with club_scope(club):
        with refuse_duplicates("code", f"There is an athlete {code} already."):
            athlete = Athlete.objects.create(
                club=club,
                code=code,
                given_name=given_name,
                family_name=family_name,
                birth_date=birth_date,
                take_off_foot=take_off_foot,
                shoe_length_m=shoe_length_m,
                user=user,
            )
        auditing.record_audit(
            club=club, caller=caller, action="athlete_added", subjects={"athlete": [athlete.id]}
        )
        return athlete


def change_athlete(
    *,
    club: Club,
    athlete_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: Caller | None = None,
) -> Athlete:
    """Put an athlete's record right, archive the athlete, or bring them back.

    A device that names the athlete by a former code is told that there is none.

    Raises
    ------
    UnknownAthleteError
        The club has no such athlete.
    StaleVersionError
        Somebody else changed the record meanwhile.
    AlreadyExistsError
        The club has another athlete with the new code.
    InvalidInputError
        The birth date lies ahead.
    """
    refuse_days_ahead(club, birth_date=changes.get("birth_date"))
    with club_scope(club):
        athlete = Athlete.objects.select_for_update(no_key=True).filter(id=athlete_id).first()
        if athlete is None:
            raise UnknownAthleteError
        with refuse_duplicates("code", "There is an athlete with this code already."):
            changed = change_row(athlete, expected=expected, changes=archiving(athlete, changes))
        auditing.record_change(club=club, caller=caller, subject=athlete, changed=changed)
        return athlete


def refuse_days_ahead(club: Club, **days: date | None) -> None:
    """Refuse days that have not come yet where the club is; each is named after its field.

    Raises
    ------
    InvalidInputError
        A day lies ahead.
    """
    today = today_at(club)
    faults = [
        Fault(f"/{name}", "in_the_future", f"The day lies ahead: it is {today} where the club is.")
        for name, day in days.items()
        if day is not None and day > today
    ]
    if faults:
        raise InvalidInputError(faults=faults)
