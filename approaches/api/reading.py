"""Lists of attempts in all their forms: pages of JSON, and all at once as a table or as lines."""

from typing import Any

from django.http import StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.response import Response

from approaches.api import serializers
from approaches.services import files
from clubs.api.base import ClubList
from common.api import streams
from common.api.errors import InvalidParameterError
from common.api.renderers import JSONRenderer, LinesRenderer, TableRenderer

JSON, NDJSON, CSV = JSONRenderer.media_type, LinesRenderer.media_type, TableRenderer.media_type
_CONTENT_TYPES = {
    NDJSON: f"{NDJSON}; charset=utf-8",
    CSV: f"{CSV}; charset=utf-8; header=present",  # the parameters of RFC 7111 and RFC 4180
}
_NAMES = {NDJSON: "attempts.ndjson", CSV: "attempts.csv"}

list_schema = extend_schema(
    responses={
        (200, JSON): serializers.AttemptSerializer(many=True),
        (200, NDJSON): OpenApiTypes.STR,
        (200, CSV): OpenApiTypes.STR,
    },
    parameters=[
        OpenApiParameter(
            "Row-Count",
            int,
            OpenApiParameter.HEADER,
            description="How many attempts a table, or lines of JSON, hold when they are whole.",
            response=["200"],
        )
    ],
)


class AttemptLister(ClubList):
    """What the lists of attempts share."""

    forms = (JSONRenderer, LinesRenderer, TableRenderer)

    def answered(self) -> Response | StreamingHttpResponse:
        """Return the attempts in the form that the client accepts.

        Raises
        ------
        InvalidParameterError
            A page is asked for in a form that has none.
        """
        media_type = self.request.accepted_renderer.media_type
        if media_type == JSON:
            return self.listed()
        paging = sorted({"cursor", "page_size"} & set(self.request.query_params))
        if paging:
            raise InvalidParameterError(
                f"{paging[0]} is for pages of JSON; {media_type} holds every attempt."
            )
        return self._streamed(media_type)

    def _streamed(self, media_type: str) -> StreamingHttpResponse:
        attempts: Any = self.filter_queryset(self.get_queryset())
        if "voided" not in self.request.query_params:
            # There is no column that could say it, and pushed again they would count.
            attempts = attempts.filter(voided_at=None)
        streams.take_seat(self._reading)
        extent = files.measure(attempts)
        return streams.stream(
            self.request._request,
            files.write_table(attempts, extent)
            if media_type == CSV
            else files.write_lines(attempts),
            scope=self._reading,
            content_type=_CONTENT_TYPES[media_type],
            headers={
                "Content-Disposition": f'attachment; filename="{_NAMES[media_type]}"',
                "Row-Count": str(extent.rows),
            },
        )
