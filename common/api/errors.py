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


class IncompleteBodyError(DomainError):
    """The connection brought less than the request announced."""

    code = "incomplete_body"
    status = 400
    title = "The body did not arrive as a whole"


class LengthRequiredError(DomainError):
    """The body came in chunks, which this server cannot tell the end of."""

    code = "length_required"
    status = 411
    title = "Send a Content-Length"


class UnreadableGzipError(DomainError):
    """The body is said to be gzip, and is no whole gzip."""

    code = "unreadable_gzip"
    status = 400
    title = "The gzip cannot be inflated"
