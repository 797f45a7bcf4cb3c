"""Lists by cursor: fixed order by a unique key, bound to their filters, without a count."""

import re
from base64 import b64decode
from typing import Any
from urllib.parse import parse_qs, parse_qsl, urlsplit

from django.utils.crypto import constant_time_compare, salted_hmac
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param

from common.api.errors import InvalidCursorError, InvalidParameterError


class BoundCursorPagination(CursorPagination):
    """A cursor that is only good for the address and the filters that it was made for."""

    page_size = 50
    max_page_size = 500
    page_size_query_param = "page_size"
    ordering = ("id",)

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> Any:
        self._filters = _filters_of(request)
        return super().paginate_queryset(queryset, request, view)

    def get_page_size(self, request: Request) -> int:
        given = request.query_params.get("page_size")
        if given is None:
            return self.page_size
        # int() itself fails on a text of thousands of digits.
        if not re.fullmatch("[0-9]{1,4}", given) or not 1 <= int(given) <= self.max_page_size:
            raise InvalidParameterError(f"page_size is 1 to {self.max_page_size}.")
        return int(given)

    def encode_cursor(self, cursor: Cursor) -> str:
        unbound = super().encode_cursor(cursor)
        position = parse_qs(urlsplit(unbound).query)[self.cursor_query_param][0]
        return replace_query_param(
            unbound, self.cursor_query_param, f"{position}.{self._seal(position)}"
        )

    def decode_cursor(self, request: Request) -> Cursor | None:
        given = request.query_params.get(self.cursor_query_param)
        if given is None:
            return None
        position, _, seal = given.rpartition(".")
        # A sealed position is one of ours, so what it holds need not be checked again.
        if not constant_time_compare(seal, self._seal(position)):
            raise InvalidCursorError
        tokens = dict(parse_qsl(b64decode(position).decode("ascii"), keep_blank_values=True))
        return Cursor(
            offset=int(tokens.get("o", "0")),
            reverse=tokens.get("r") == "1",
            position=tokens.get("p"),  # type: ignore[arg-type]  # a text, whatever the stubs say
        )

    def _seal(self, position: str) -> str:
        return salted_hmac(
            "common.api.pagination", f"{self._filters}|{position}", algorithm="sha256"
        ).hexdigest()[:16]

    def get_paginated_response(self, data: Any) -> Response:
        following, before = self.get_next_link(), self.get_previous_link()
        response = Response({"next": following, "previous": before, "results": data})
        links = [
            f'<{url}>; rel="{name}"' for url, name in ((following, "next"), (before, "prev")) if url
        ]
        if links:
            response["Link"] = ", ".join(links)
        return response


def _filters_of(request: Request) -> str:
    given = sorted(
        (name, value)
        for name, values in request.query_params.lists()
        if name not in {"cursor", "page_size"}
        for value in values
    )
    return repr((request.path, given))
