"""Refusals that any address may give."""

from common.errors import DomainError


class UnknownParameterError(DomainError):
    """A query parameter that this address does not know."""

    code = "unknown_parameter"
    status = 400
    title = "This address does not know such a parameter"


class InvalidParameterError(DomainError):
    """A query parameter has a value that it cannot have."""

    code = "invalid_parameter"
    status = 400
    title = "A parameter has a value that it cannot have"


class InvalidCursorError(DomainError):
    """The cursor is none of ours, or belongs to other filters."""

    code = "invalid_cursor"
    status = 400
    title = "This cursor does not fit; start again without one"


class VersionRequiredError(DomainError):
    """A change of what others may have changed meanwhile names the version that it starts from."""

    code = "version_required"
    status = 428
    title = "Send If-Match with the ETag of what you read"


class InvalidHeaderError(DomainError):
    """A header has a value that it cannot have."""

    code = "invalid_header"
    status = 400
    title = "A header has a value that it cannot have"
