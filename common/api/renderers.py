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


class _Written(renderers.BaseRenderer):
    """A form that a view writes itself; it is named here to be asked for."""

    charset: str | None = "utf-8"

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> Any:
        raise NotImplementedError("What is asked for in this form is written by the view.")


class LinesRenderer(_Written):
    """JSON, an object a line."""

    media_type = "application/x-ndjson"
    format = "ndjson"


class TableRenderer(_Written):
    """Comma-separated values (RFC 4180)."""

    media_type = "text/csv"
    format = "csv"


class VectorRenderer(_Written):
    """A picture made of lines and text (SVG 1.1)."""

    media_type = "image/svg+xml"
    format = "svg"


class PixelRenderer(_Written):
    """A picture made of pixels (PNG)."""

    media_type = "image/png"
    format = "png"
    charset = None


class PageRenderer(_Written):
    """A page for a browser."""

    media_type = "text/html"
    format = "html"


class PaperRenderer(_Written):
    """Sheets to print."""

    media_type = "application/pdf"
    format = "pdf"
    charset = None
