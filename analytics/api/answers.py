"""Answers with figures: what they are as of, and whether the asker has them already."""

from typing import Any

import msgspec
from django.http import HttpResponse
from rest_framework.request import Request

from analytics.selectors import Series, Standing
from analytics.services.method import METHOD
from common.api.conditional import answer_unless_known

MEDIA_TYPE = "application/json"
_encoder = msgspec.json.Encoder()


def head_of(series: Series, standing: Standing) -> dict[str, Any]:
    """Return what every answer with figures begins with."""
    return {
        "approach": series.approach_id,
        "finish": series.finish_class.value,
        "as_of": standing.as_of,
        "through_attempt": standing.through_attempt,
        "n": standing.n,
        "stale": standing.is_stale(method=METHOD),
        "method": METHOD if standing.method is None else standing.method,
    }


def answer_with(request: Request, content: dict[str, Any], *, role: str) -> HttpResponse:
    """Return `content` as JSON with its ETag, or 304 when the asker has just that."""
    return answer_unless_known(
        request._request,
        _encoder.encode(content),
        media_type=MEDIA_TYPE,
        audience=role,
    )
