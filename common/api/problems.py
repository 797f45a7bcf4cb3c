"""Every refusal in the one shape: problem details (RFC 9457)."""

from collections.abc import Iterator
from typing import Any

import msgspec
import structlog
from django.core.exceptions import PermissionDenied
from django.db import InterfaceError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse
from rest_framework import exceptions

from common.errors import DomainError, Fault, InvalidInputError, NotFoundError, pointer_part
from common.request_id import current_request_id

logger = structlog.get_logger(__name__)

MEDIA_TYPE = "application/problem+json"
# Where each code is explained; a relative reference is resolved against the request's address.
TYPE_BASE = "/api/v1/docs/errors/#"
# A body of a MiB can be wrong in a hundred thousand places; nobody mends more at once.
MOST_FAULTS = 100


class InternalError(DomainError):
    """Something of ours broke; the log knows it by the request id."""

    code = "internal_error"
    status = 500
    title = "Something went wrong on our side"


class UnavailableError(DomainError):
    """The database does not answer, or gave this request up; nothing of it was stored."""

    code = "unavailable"
    status = 503
    title = "The service cannot answer at the moment; try again"
    retry_after_s = 2  # about what a database takes to start again


class MethodNotAllowedError(DomainError):
    """The address exists, and does not take this method."""

    code = "method_not_allowed"
    status = 405
    title = "This address does not take this method"


class NotAcceptableError(DomainError):
    """No representation fits the Accept header."""

    code = "not_acceptable"
    status = 406
    title = "None of the accepted media types can be sent"


class UnsupportedMediaTypeError(DomainError):
    """The body's content type is not taken here."""

    code = "unsupported_media_type"
    status = 415
    title = "This content type is not taken here"


class UnsupportedEncodingError(DomainError):
    """The body is compressed in a way that is not taken here."""

    code = "unsupported_encoding"
    status = 415
    title = "Send the body as it is, or as gzip"


class BodyTooLargeError(DomainError):
    """The body is larger than one request may be."""

    code = "body_too_large"
    status = 413
    title = "The body is too large"


class TooManyRequestsError(DomainError):
    """The caller asks more often than it may."""

    code = "too_many_requests"
    status = 429
    title = "Too many requests; try again later"


class BadRequestError(DomainError):
    """The request is not one that can be read."""

    code = "bad_request"
    status = 400
    title = "The request cannot be read"


class InvalidJsonError(DomainError):
    """The body is not JSON, or not strict JSON."""

    code = "invalid_json"
    status = 400
    title = "The body is not valid JSON"


_OF_FRAMEWORK: tuple[tuple[type[exceptions.APIException], type[DomainError]], ...] = (
    (exceptions.MethodNotAllowed, MethodNotAllowedError),
    (exceptions.NotAcceptable, NotAcceptableError),
    (exceptions.UnsupportedMediaType, UnsupportedMediaTypeError),
    (exceptions.Throttled, TooManyRequestsError),
    (exceptions.ParseError, InvalidJsonError),
)


def problem_response(error: DomainError) -> HttpResponse:
    """Return the answer that tells of `error`."""
    body = {
        "type": f"{TYPE_BASE}{error.code}",
        "title": error.title,
        "status": error.status,
        "detail": error.detail,
        "code": error.code,
        "request_id": current_request_id(),
        "errors": [
            {"pointer": fault.pointer, "code": fault.code, "detail": fault.detail}
            for fault in error.faults[:MOST_FAULTS]
        ],
    }
    response = HttpResponse(msgspec.json.encode(body), status=error.status, content_type=MEDIA_TYPE)
    if error.retry_after_s is not None:
        response["Retry-After"] = str(error.retry_after_s)
    if isinstance(error, UnsupportedEncodingError):
        response["Accept-Encoding"] = "gzip"  # RFC 9110, 15.5.16
    if error.status == 401:
        response["WWW-Authenticate"] = 'Bearer realm="penult"'
    return response


def exception_handler(raised: Exception, context: dict[str, Any]) -> HttpResponse:
    """Turn whatever a view raised into the one shape."""
    response = problem_response(error_of(raised))
    wait = getattr(raised, "wait", None)
    if isinstance(raised, exceptions.Throttled) and wait is not None:
        response["Retry-After"] = str(int(wait) + 1)
    if isinstance(raised, exceptions.MethodNotAllowed):
        view = context.get("view")
        response["Allow"] = ", ".join(getattr(view, "allowed_methods", []))
    return response


def error_of(raised: Exception) -> DomainError:
    """Return the refusal that stands for an exception; an unexpected one is logged."""
    if isinstance(raised, DomainError):
        return raised
    if isinstance(raised, exceptions.ValidationError):
        faults = list(faults_of(raised.detail, ""))
        return InvalidInputError(faults=faults)
    if isinstance(raised, OperationalError | InterfaceError):
        logger.error("database_out_of_reach", exc_info=raised)
        return UnavailableError()
    if isinstance(raised, Http404):
        return NotFoundError()
    if isinstance(raised, PermissionDenied | exceptions.PermissionDenied):
        return NotFoundError()
    for framework, ours in _OF_FRAMEWORK:
        if isinstance(raised, framework):
            return ours(str(raised.detail))
    logger.error("request_failed", exc_info=raised)
    return InternalError()


def faults_of(detail: Any, pointer: str = "") -> Iterator[Fault]:
    """Walk the framework's nested validation errors; each leaf is a fault with its pointer."""
    if isinstance(detail, dict):
        for name, inner in detail.items():
            at = pointer if name == "non_field_errors" else f"{pointer}/{pointer_part(str(name))}"
            yield from faults_of(inner, at)
    elif isinstance(detail, list):
        for index, inner in enumerate(detail):
            at = f"{pointer}/{index}" if isinstance(inner, dict | list) and inner else pointer
            yield from faults_of(inner, at)
    else:
        yield Fault(pointer, str(getattr(detail, "code", "invalid")), str(detail))


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    return problem_response(BadRequestError())


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return problem_response(NotFoundError())


def server_error(request: HttpRequest) -> HttpResponse:
    return problem_response(InternalError())
