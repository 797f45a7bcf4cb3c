"""Bearer tokens (RFC 6750), and for our own pages the log-in of a browser."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

import structlog
from axes.helpers import get_client_ip_address
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, CSRFCheck
from rest_framework.exceptions import Throttled
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request

from clubs import selectors
from clubs.errors import (
    NotAuthenticatedError,
    NotFromPageError,
    OtherPersonError,
    UnknownTokenError,
)
from clubs.models import User
from clubs.selectors import Caller
from clubs.services import access
from common.api import limits
from common.form_limits import FORMS

KEYWORD = "bearer"
# In this header a page says for whom it was opened.
MEMBER = "Penult-Member"


class TokenAuthentication(BaseAuthentication):
    """Find the caller by the access token in the Authorization header.

    Who only reads stays in the scope in which the token was found: it is put on `reading`.
    """

    def __init__(self, reading: ExitStack | None = None) -> None:
        self._reading = reading

    def authenticate(self, request: Request) -> tuple[Caller, Caller] | None:
        header = request.META.get("HTTP_AUTHORIZATION", "")
        if not header:
            return None
        keyword, _, presented = header.partition(" ")
        if keyword.lower() != KEYWORD:
            raise NotAuthenticatedError("Send it as Authorization: Bearer <token>.")
        with _limited(request):
            caller = self._find_caller(presented.strip())
        structlog.contextvars.bind_contextvars(
            club=caller.club.slug, actor=str(caller.actor_id), actor_kind=caller.actor_kind
        )
        today = selectors.today_at(caller.club)
        if caller.token_last_used_date != today:
            if self._reading is not None:
                self._reading.close()  # it must not write; whoever reads opens one anew
            access.note_token_use(caller=caller, today=today)
        return caller, caller

    def _find_caller(self, presented: str) -> Caller:
        if self._reading is None:
            return selectors.find_caller(presented)
        with ExitStack() as scope:
            caller = scope.enter_context(selectors.caller_scope(presented))
            self._reading.push(scope.pop_all())
        return caller

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="penult"'


class PageAuthentication(BaseAuthentication):
    """Find the caller by the log-in of the browser: our own pages ask for charts and send results.

    A write must come from a page of ours (Django's CSRF check) and name the member for whom that
    page was opened: what one person typed is never stored under the log-in of the next.
    """

    def __init__(self, slug: str) -> None:
        self._slug = slug

    def authenticate(self, request: Request) -> tuple[Caller, Caller] | None:
        person = request._request.user
        if not isinstance(person, User):
            return None
        caller = selectors.get_person(person, slug=self._slug)
        member = request.headers.get(MEMBER)
        if member is not None and member != str(caller.membership_id):
            raise OtherPersonError
        if request.method not in SAFE_METHODS and (member is None or not _is_from_page(request)):
            raise NotFromPageError
        structlog.contextvars.bind_contextvars(
            club=caller.club.slug, actor=str(caller.actor_id), actor_kind=caller.actor_kind
        )
        return caller, caller


def _is_from_page(request: Request) -> bool:
    # Our pages send JSON; in a form the check of the origin would look for its token, to the end.
    if request._request.content_type in FORMS:
        return False
    check = CSRFCheck(_nothing)
    check.process_request(request._request)
    return check.process_view(request._request, _nothing, (), {}) is None


def _nothing(request: HttpRequest) -> HttpResponse:
    """Stand for the view of a request of which only the origin is checked."""
    return HttpResponse()


@contextmanager
def _limited(request: Request) -> Iterator[None]:
    """Stop who shows one unknown token after the other."""
    quota = settings.WRONG_TOKENS_PER_MINUTE
    # As a rule nobody does, and then it does not matter who asks.
    if not limits.wrong_tokens.is_quiet():
        standing = limits.wrong_tokens.standing(_address_of(request), quota=quota)
        if standing.exceeded:
            raise Throttled(standing.resets_in_s)
    try:
        yield
    except UnknownTokenError:
        limits.wrong_tokens.count(_address_of(request), quota=quota)
        raise


def _address_of(request: Request) -> Any:
    return get_client_ip_address(request._request)


class TokenScheme(OpenApiAuthenticationExtension):
    """Say in the schema how to authenticate."""

    target_class = TokenAuthentication
    name = "accessToken"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer", "bearerFormat": "pnl_<kind>_<id>_<secret>"}
