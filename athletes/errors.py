"""What athletes' records refuse."""

from common.errors import DomainError


class UnknownAthleteError(DomainError):
    """No athlete of the club has this id or code."""

    code = "unknown_athlete"
    status = 404
    title = "The club has no such athlete"
