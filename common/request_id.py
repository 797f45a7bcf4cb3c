"""Give every request an id that the log, the answer and each problem share."""

from collections.abc import Callable

import structlog
from django.http import HttpRequest, HttpResponse


def current_request_id() -> str:
    """Return the id of the request that is being answered, or an empty text outside of one."""
    return str(structlog.contextvars.get_contextvars().get("request_id", ""))


class RequestIdMiddleware:
    """Tell the client the id under which the log knows its request."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response["X-Request-ID"] = current_request_id()
        return response
