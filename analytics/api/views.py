"""Alerts."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from analytics import selectors
from analytics.api import filters, serializers
from analytics.api.asked import LANGUAGE, in_language_of
from analytics.models import Alert, AlertKind
from analytics.services import attending, ruling
from clubs.api import permissions
from clubs.api.base import CHANGE_PROBLEMS, ClubList, ClubView
from common.api.pagination import BoundCursorPagination
from common.api.preconditions import expected_version
from common.api.schema import IF_MATCH
from common.club_scope import club_scope

_KIND = OpenApiParameter(
    "kind", str, OpenApiParameter.PATH, enum=AlertKind.values, description="Kind of alert."
)


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

    @extend_schema(parameters=[LANGUAGE], responses=serializers.AlertSerializer(many=True))
    def get(self, request: Request, club: str) -> HttpResponse:
        return in_language_of(request, self.listed)


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

    @extend_schema(parameters=[LANGUAGE], responses=serializers.AlertSerializer)
    def get(self, request: Request, club: str, alert_id: UUID) -> HttpResponse:
        alert = self.get_alert()
        return in_language_of(request, lambda: self.kept(alert))

    @extend_schema(
        request=serializers.AlertChangesSerializer,
        responses=serializers.AlertSerializer,
        parameters=[IF_MATCH, LANGUAGE],
        examples=[
            OpenApiExample("Seen to", value={"acknowledged": True}, request_only=True),
            # A day to put off to would be past soon: docs/api/alerts.md shows one that is not.
            OpenApiExample(
                "Not put off any more", value={"put_off_until_date": None}, request_only=True
            ),
        ],
    )
    def patch(self, request: Request, club: str, alert_id: UUID) -> HttpResponse:
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
        return in_language_of(request, lambda: self.kept(alert))


class AlertRuleList(ClubView):
    """What holds in the club for each kind of alert: a few, and always all of them."""

    rights = {"GET": permissions.READ_ANALYTICS}
    operation_names = {"GET": "alert_rules_list"}
    serializer_class = serializers.AlertRulesSerializer

    def get(self, request: Request, club: str) -> Response:
        held = selectors.list_alert_rules()
        waiting = selectors.count_series_judged_otherwise(held)
        return Response(self.get_serializer({"results": held, "n_series_waiting": waiting}).data)


class AlertRuleDetail(ClubView):
    """What holds in the club for one kind of alert.

    A change is judged by for every session there is, not only for those to come, within seconds for
    a small club and minutes for a large one. The ETag is "0" while the club has set nothing.
    """

    rights = {"GET": permissions.READ_ANALYTICS, "PATCH": permissions.WRITE_ALERT_RULES}
    operation_names = {"GET": "alert_rules_read", "PATCH": "alert_rules_change"}
    problems = {"PATCH": CHANGE_PROBLEMS}
    serializer_class = serializers.AlertRuleSerializer

    @extend_schema(parameters=[_KIND])
    def get(self, request: Request, club: str, kind: str) -> Response:
        return self.kept(selectors.get_alert_rule(kind))

    @extend_schema(
        request=serializers.AlertRuleChangesSerializer,
        responses=serializers.AlertRuleSerializer,
        parameters=[_KIND, IF_MATCH],
        examples=[
            OpenApiExample("Off", value={"is_active": False}, request_only=True),
            OpenApiExample(
                "Sooner, and with the default for closing",
                value={"thresholds": {"no_jump_share_limit": 0.25, "calm_sessions": None}},
                request_only=True,
            ),
        ],
    )
    def patch(self, request: Request, club: str, kind: str) -> Response:
        expected = expected_version(request)
        changes = self.changes(serializers.AlertRuleChangesSerializer)
        rule = ruling.change_alert_rule(
            club=self.caller.club,
            kind=kind,
            expected=expected,
            changes=changes,
            caller=self.caller,
        )
        return self.kept(rule)
