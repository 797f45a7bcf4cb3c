"""Bearer tokens (RFC 6750)."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

import structlog
from axes.helpers import get_client_ip_address
from django.conf import settings
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import Throttled
from rest_framework.request import Request

from clubs import selectors
from clubs.errors import NotAuthenticatedError, UnknownTokenError
from clubs.selectors import Caller
from clubs.services import access
from common.api import limits

KEYWORD = "bearer"


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
            raise NotAuthenticatedError("Use the Bearer scheme.")
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
