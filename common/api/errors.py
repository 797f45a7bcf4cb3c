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
