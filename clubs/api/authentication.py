"""Bearer tokens (RFC 6750)."""

from typing import Any

import structlog
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication
from rest_framework.request import Request

from clubs import selectors
from clubs.errors import NotAuthenticatedError
from clubs.selectors import Caller
from clubs.services import access

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
        caller = selectors.find_caller(presented.strip())
        structlog.contextvars.bind_contextvars(
            club=caller.club.slug, actor=str(caller.actor_id), actor_kind=caller.actor_kind
        )
        access.note_token_use(caller=caller, today=selectors.today_at(caller.club))
        return caller, caller

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="penult"'


class TokenScheme(OpenApiAuthenticationExtension):
    """Say in the schema how to authenticate."""

    target_class = TokenAuthentication
    name = "accessToken"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer", "bearerFormat": "pnl_<kind>_<id>_<secret>"}
