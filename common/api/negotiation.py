"""Which form of an answer fits what the client accepts (RFC 9110, 12.5.1)."""

from collections.abc import Iterable, Sequence
from typing import Any

from rest_framework import exceptions
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.request import Request
from rest_framework.utils.mediatypes import _MediaType

ANY = "*/*"


class WeighedNegotiation(DefaultContentNegotiation):
    """Give the form with the greatest weight, and of several such the first that a view names.

    The framework's own looks at how exact a media range is and not at its weight, so it would send
    a table to `application/json, text/csv;q=0.5` if the table came first, and to `text/csv;q=0`.
    """

    def select_renderer(
        self, request: Request, renderers: Iterable[Any], format_suffix: str | None = None
    ) -> tuple[Any, str]:
        renderers = list(renderers)
        first = renderers[0]
        if request.headers.get("Accept", ANY) in {ANY, first.media_type}:  # as a rule
            return first, first.media_type
        ranges = [_MediaType(each) for each in self.get_accept_list(request)]
        weights = [_weight_of(renderer.media_type, ranges) for renderer in renderers]
        if max(weights) == 0:
            offered = ", ".join(each.media_type for each in renderers)
            raise exceptions.NotAcceptable(f"Accept one of {offered}, or send no Accept.")
        chosen = renderers[weights.index(max(weights))]
        return chosen, chosen.media_type


def _weight_of(media_type: str, ranges: Sequence[_MediaType]) -> float:
    """Return the weight of the most exact range that a media type is in, or 0 without one."""
    offered = _MediaType(media_type)
    fitting = [each for each in ranges if offered.match(each)]
    if not fitting:
        return 0.0
    given = max(fitting, key=lambda each: each.precedence).params.get("q", "1")
    try:
        return min(max(float(given), 0.0), 1.0)
    except ValueError:
        return 1.0  # no weight that can be read is none
