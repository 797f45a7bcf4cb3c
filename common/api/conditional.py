"""Answers that a client may have already: an entity tag, and 304 instead of the same again."""

from hashlib import blake2b

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.utils.cache import patch_vary_headers
from django.utils.http import parse_etags


def answer_unless_known(
    request: HttpRequest, body: bytes, *, media_type: str, audience: str
) -> HttpResponse:
    """Return `body` with its ETag, or 304 when the asker has just that.

    The tag is a strong one (RFC 9110, 8.8.1): it is made of the bytes themselves, so it changes
    when and only when they do. Media type and `audience`, who it was written for, are part of it:
    a tag that one role got is worth nothing to another, whatever the bytes.
    """
    digest = blake2b(f"{media_type}|{audience}|".encode(), digest_size=12)
    digest.update(body)
    etag = f'"{digest.hexdigest()}"'
    response: HttpResponse
    if _is_known(etag, request.headers.get("If-None-Match", "")):
        response = HttpResponseNotModified()
    else:
        response = HttpResponse(body, content_type=media_type)
    response["ETag"] = etag
    mark_as_private(response)
    return response


def mark_as_private(response: HttpResponse) -> None:
    """Say that only the asker may keep the answer, and must ask again before it is used."""
    response["Cache-Control"] = "private, no-cache"
    patch_vary_headers(response, ["Accept", "Authorization"])


def _is_known(etag: str, condition: str) -> bool:
    """Answer whether an If-None-Match field names the tag (RFC 9110, 13.1.2: weak comparison)."""
    named = parse_etags(condition)
    return named == ["*"] or any(each.removeprefix("W/") == etag for each in named)
