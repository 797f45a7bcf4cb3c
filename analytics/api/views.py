"""Alerts."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from analytics import selectors
from analytics.api import filters, serializers
from analytics.models import Alert
from analytics.services import attending
from clubs.api import permissions
from clubs.api.base import CHANGE_PROBLEMS, ClubList, ClubView
from common.api.pagination import BoundCursorPagination
from common.api.preconditions import expected_version
from common.api.schema import IF_MATCH
from common.club_scope import club_scope


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
        return self.listed()


class AlertDetail(ClubView):
    """One alert with its evidence, and the door for what a coach does about it.

    Its ETag changes with what people do and with what the figures say.
    """

    rights = {"GET": permissions.READ_ANALYTICS, "PATCH": permissions.ATTEND_ALERTS}
    operation_names = {"GET": "alerts_read", "PATCH": "alerts_attend_to"}
    problems = {"PATCH": {**CHANGE_PROBLEMS, "409": "The alert is closed."}}
    serializer_class = serializers.AlertSerializer

    def get_alert(self) -> Alert:
        return selectors.get_alert_for(self.caller, self.kwargs["alert_id"], today=self.today)

    def get(self, request: Request, club: str, alert_id: UUID) -> Response:
        return self.kept(self.get_alert())

    @extend_schema(
        request=serializers.AlertChangesSerializer,
        responses=serializers.AlertSerializer,
        parameters=[IF_MATCH],
        examples=[
            OpenApiExample("Seen to", value={"acknowledged": True}, request_only=True),
            # A day to put off to would be past soon: docs/api/alerts.md shows one that is not.
            OpenApiExample(
                "Not put off any more", value={"put_off_until_date": None}, request_only=True
            ),
        ],
    )
    def patch(self, request: Request, club: str, alert_id: UUID) -> Response:
        expected = expected_version(request)
        changes = self.changes(serializers.AlertChangesSerializer)
        with club_scope(self.caller.club):
            alert = attending.attend_to_alert(
                club=self.caller.club,
                alert_id=self.get_alert().id,
                expected=expected,
                changes=changes,
                today=self.today,
                caller=self.caller,
            )
        return self.kept(alert)
