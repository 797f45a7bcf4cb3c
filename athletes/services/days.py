"""The days on which something holds: from its first to its last, or for ever."""

from datetime import date

from common.errors import Fault, InvalidInputError


def check_days(from_date: date, until_date: date | None) -> None:
    """Refuse days that end before they begin.

    Raises
    ------
    InvalidInputError
        They do.
    """
    if until_date is not None and until_date < from_date:
        raise InvalidInputError(
            faults=[
                Fault(
                    "/until_date", "ends_before_start", "The last day is no earlier than the first."
                )
            ]
        )
