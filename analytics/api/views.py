"""Alerts."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from analytics import selectors
from analytics.api import answers, filters, serializers
from clubs.api import permissions
from clubs.api.base import ClubList, ClubView
from common.api.pagination import BoundCursorPagination


class LatestFirst(BoundCursorPagination):
    ordering = ("-opened_at", "-id")  # type: ignore[assignment]  # any number of fields


class AlertList(ClubList):
    """What coaches should see of the athletes that the caller may see, the latest first."""

    rights = {"GET": permissions.READ_ANALYTICS}
    operation_names = {"GET": "alerts_list"}
    serializer_class = serializers.AlertSerializer
    filterset_class = filters.AlertFilter
    pagination_class = LatestFirst

    def rows(self) -> QuerySet[Any]:
        return selectors.list_alerts_for(self.caller, today=self.today)

    @extend_schema(responses=serializers.AlertSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        response = self.listed()
        response["Cache-Control"] = "private, no-cache"
        return response


class AlertDetail(ClubView):
    """One alert with its evidence."""

    rights = {"GET": permissions.READ_ANALYTICS}
    operation_names = {"GET": "alerts_read"}
    serializer_class = serializers.AlertSerializer

    def get(self, request: Request, club: str, alert_id: UUID) -> HttpResponse:
        alert = selectors.get_alert_for(self.caller, alert_id, today=self.today)
        content = serializers.AlertSerializer(alert).data
        return answers.answer_with(request, content, role=self.caller.role)
