"""Bearer tokens (RFC 6750)."""

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
    """Find the caller by the access token in the Authorization header."""

    def authenticate(self, request: Request) -> tuple[Caller, Caller] | None:
        header = request.META.get("HTTP_AUTHORIZATION", "")
        if not header:
            return None
        keyword, _, presented = header.partition(" ")
        if keyword.lower() != KEYWORD:
            raise NotAuthenticatedError("Use the Bearer scheme.")
        caller = _find_caller(request, presented.strip())
        structlog.contextvars.bind_contextvars(
            club=caller.club.slug, actor=str(caller.actor_id), actor_kind=caller.actor_kind
        )
        access.note_token_use(caller=caller, today=selectors.today_at(caller.club))
        return caller, caller

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="penult"'


def _find_caller(request: Request, presented: str) -> Caller:
    """Find the caller, and stop who shows one unknown token after the other."""
    address, quota = get_client_ip_address(request._request), settings.WRONG_TOKENS_PER_MINUTE
    standing = limits.wrong_tokens.standing(address, quota=quota)
    if standing.exceeded:
        raise Throttled(standing.resets_in_s)
    try:
        return selectors.find_caller(presented)
    except UnknownTokenError:
        limits.wrong_tokens.count(address, quota=quota)
        raise


class TokenScheme(OpenApiAuthenticationExtension):
    """Say in the schema how to authenticate."""

    target_class = TokenAuthentication
    name = "accessToken"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer", "bearerFormat": "pnl_<kind>_<id>_<secret>"}
