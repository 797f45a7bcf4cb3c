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
