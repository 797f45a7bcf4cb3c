"""Athletes: entered, changed, archived."""

from datetime import date

from athletes.models import Athlete, Foot
from clubs.models import Club, User
from clubs.selectors import Caller, today_at
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError
from common.refusals import refuse_duplicates


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
    if birth_date > today_at(club):
        raise InvalidInputError(
            faults=[Fault("/birth_date", "in_the_future", "The birth date lies ahead.")]
        )
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
