"""Answers with figures, and what they are as of."""

from typing import Any

import msgspec
from django.http import HttpResponse

from analytics.selectors import Series, Standing
from analytics.services.method import METHOD

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


def answer_with(content: dict[str, Any]) -> HttpResponse:
    """Return `content` as JSON, written in one go: the framework's renderer takes longer."""
    return HttpResponse(_encoder.encode(content), content_type=MEDIA_TYPE)
