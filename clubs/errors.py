"""What clubs refuse."""

from common.errors import DomainError


class NotAuthenticatedError(DomainError):
    """The request says nobody, or nobody we know."""

    code = "not_authenticated"
    status = 401
    title = "Send a valid access token"


class UnknownTokenError(NotAuthenticatedError):
    """The token is well formed, and nobody has it: a guess, unless it was one of a lost club."""


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


class NotFromPageError(DomainError):
    """A write came with the log-in of a browser, and not from a page of ours."""

    code = "not_from_page"
    status = 403
    title = "Open the page again, or send an access token"


class OtherPersonError(DomainError):
    """Somebody else has logged in on this browser since the page was opened."""

    code = "other_person"
    status = 403
    title = "Somebody else has logged in on this browser"


class RevokedSourceError(DomainError):
    """The source may not push any more."""

    code = "revoked_source"
    status = 403
    title = "This source was closed"


class InFlightError(DomainError):
    """The same request, with the same key, is being answered at this moment."""

    code = "in_flight"
    status = 409
    title = "The same request is being answered; send it again in a moment"
    retry_after_s = 1


class KeyReusedError(DomainError):
    """The idempotency key was used for another request before."""

    code = "key_reused"
    status = 422
    title = "This Idempotency-Key was used for another request"


class KeyRequiredError(DomainError):
    """Without a key this write could be stored twice."""

    code = "key_required"
    status = 400
    title = "Send an Idempotency-Key: this write has no id of its own"


class TooManyTokensError(DomainError):
    """The source has as many live tokens as it may."""

    code = "too_many_tokens"
    status = 409
    title = "The source has two live tokens; revoke one first"


class MembershipEndedError(DomainError):
    """The person is no member any more, and is given nothing."""

    code = "membership_ended"
    status = 409
    title = "This membership has ended"


class LastAdminError(DomainError):
    """Without this person the club would have no admin."""

    code = "last_admin"
    status = 409
    title = "A club keeps at least one admin"
