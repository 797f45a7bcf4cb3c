"""Who did what."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from clubs import selectors
from clubs.api import filters, permissions, serializers
from clubs.api.base import ClubList
from common.api.pagination import BoundCursorPagination


class LatestFirst(BoundCursorPagination):
    ordering = ("-at", "-id")  # type: ignore[assignment]  # any number of fields


class AuditList(ClubList):
    """Who did what to which rows, the latest first: ids and names of fields, never a value."""

    rights = {"GET": permissions.WRITE_CLUB}
    operation_names = {"GET": "audit_list"}
    serializer_class = serializers.AuditEntrySerializer
    filterset_class = filters.AuditFilter
    pagination_class = LatestFirst

    def rows(self) -> QuerySet[Any]:
        return selectors.list_audit()

    @extend_schema(responses=serializers.AuditEntrySerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        return self.listed()
