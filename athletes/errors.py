"""What athletes' records refuse."""

from common.errors import DomainError


class UnknownAthleteError(DomainError):
    """No athlete of the club has this id or code."""

    code = "unknown_athlete"
    status = 404
    title = "The club has no such athlete"


class RefusedImportError(DomainError):
    """A table of athletes holds lines that cannot be taken; the faults name each."""

    code = "import_refused"
    status = 422
    title = "Nothing was stored, because not every line could be"
