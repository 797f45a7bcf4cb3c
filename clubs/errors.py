"""What clubs refuse."""

from common.errors import DomainError


class NotAuthenticatedError(DomainError):
    """The request says nobody, or nobody we know."""

    code = "not_authenticated"
    status = 401
    title = "Send a valid access token"


class NotAllowedError(DomainError):
    """The caller is known, and may not do this."""

    code = "not_allowed"
    status = 403
    title = "Your role may not do this"


class MissingScopeError(DomainError):
    """The token was made without the scope that this needs."""

    code = "missing_scope"
    status = 403
    title = "The token lacks a scope"


class RevokedSourceError(DomainError):
    """The source may not push any more."""

    code = "revoked_source"
    status = 403
    title = "This source was closed"
