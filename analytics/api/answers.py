"""Answers with figures: what they are as of, and whether the asker has them already."""

from hashlib import blake2b
from typing import Any

import msgspec
from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.utils.cache import patch_vary_headers
from django.utils.http import parse_etags

from analytics.models import SeriesState
from analytics.selectors import Series
from analytics.services.method import METHOD

_encoder = msgspec.json.Encoder()


def head_of(series: Series, state: SeriesState | None, *, stale: bool) -> dict[str, Any]:
    """Return what every answer with figures begins with."""
    return {
        "approach": series.approach_id,
        "finish": series.finish_class.value,
        "as_of": None if state is None else state.computed_at,
        "through_attempt": None if state is None else state.through_attempt_id,
        "n": 0 if state is None else state.n_attempts,
        "stale": stale,
        "method": METHOD if state is None else state.method,
    }


def answer_with(request: HttpRequest, content: dict[str, Any]) -> HttpResponse:
    """Return `content` as JSON with its ETag, or 304 when the asker has just that.

    The tag is made of the bytes themselves, so it changes when and only when the answer does.
    """
    body = _encoder.encode(content)
    etag = f'"{blake2b(body, digest_size=12).hexdigest()}"'
    response: HttpResponse
    if _is_known(etag, request.headers.get("If-None-Match", "")):
        response = HttpResponseNotModified()
    else:
        response = HttpResponse(body, content_type="application/json")
    response["ETag"] = etag
    response["Cache-Control"] = "private, no-cache"
    patch_vary_headers(response, ["Accept", "Authorization"])
    return response


def _is_known(etag: str, condition: str) -> bool:
    """Answer whether an If-None-Match field names the tag (RFC 9110, 13.1.2: weak comparison)."""
    named = parse_etags(condition)
    return named == ["*"] or any(each.removeprefix("W/") == etag for each in named)
