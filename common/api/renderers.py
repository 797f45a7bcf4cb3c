"""Write answers."""

from collections.abc import Mapping
from typing import Any

from rest_framework import renderers


class JSONRenderer(renderers.JSONRenderer):
    """Compact JSON in UTF-8; a number that is not finite is a defect and fails loudly."""

    strict = True

    def get_indent(
        self, accepted_media_type: str, renderer_context: Mapping[str, Any]
    ) -> int | None:
        return None


class _Streamed(renderers.BaseRenderer):
    """A form that a view sends piece by piece itself; it is named here to be asked for."""

    charset = "utf-8"

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> Any:
        raise NotImplementedError("What is asked for in this form is streamed.")


class LinesRenderer(_Streamed):
    """JSON, an object a line."""

    media_type = "application/x-ndjson"
    format = "ndjson"


class TableRenderer(_Streamed):
    """Comma-separated values (RFC 4180)."""

    media_type = "text/csv"
    format = "csv"
