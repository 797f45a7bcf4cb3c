"""Runways and their boards."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from clubs import selectors
from clubs.api import filters, permissions, serializers
from clubs.api.base import CHANGE_PROBLEMS, ClubList, ClubView
from clubs.services import places
from common.api.preconditions import expected_version
from common.api.schema import IF_MATCH
from common.club_scope import club_scope


class RunwayList(ClubList):
    """The club's runways with their boards."""

    rights = {"GET": permissions.READ_CLUB, "POST": permissions.WRITE_CLUB}
    operation_names = {"GET": "runways_list", "POST": "runways_create"}
    problems = {"POST": {"409": "The club has a runway of this name."}}
    serializer_class = serializers.RunwaySerializer
    filterset_class = filters.RunwayFilter

    def rows(self) -> QuerySet[Any]:
        return selectors.list_runways().prefetch_related("boards")

    @extend_schema(responses=serializers.RunwaySerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewRunwaySerializer,
        responses={201: serializers.RunwaySerializer},
        examples=[
            OpenApiExample(
                "A runway for both events",
                value={
                    "name": "East straight",
                    "surface": "polyurethane",
                    "direction_deg": 84,
                    "length_m": 45.0,
                    "boards": [
                        {"event": "long_jump", "to_pit_m": 2.0},
                        {"event": "triple_jump", "to_pit_m": 9.0},
                        {"event": "triple_jump", "to_pit_m": 11.0},
                    ],
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str) -> Response:
        body = serializers.NewRunwaySerializer(data=request.data)
        body.is_valid(raise_exception=True)
        with club_scope(self.caller.club):
            runway = places.add_runway(
                club=self.caller.club, caller=self.caller, **_with_places(body.validated_data)
            )
            return self.created(runway, route="runway", runway_id=runway.id)


class RunwayDetail(ClubView):
    """One runway with its boards."""

    rights = {"GET": permissions.READ_CLUB, "PATCH": permissions.WRITE_CLUB}
    operation_names = {"GET": "runways_read", "PATCH": "runways_change"}
    problems = {"PATCH": {**CHANGE_PROBLEMS, "409": "The club has a runway of this name."}}
    serializer_class = serializers.RunwaySerializer

    def get(self, request: Request, club: str, runway_id: UUID) -> Response:
        return self.kept(selectors.get_runway(runway_id))

    @extend_schema(
        request=serializers.RunwayChangesSerializer,
        responses=serializers.RunwaySerializer,
        parameters=[IF_MATCH],
        description="`boards` takes the place of all boards that the runway had.",
        examples=[
            OpenApiExample(
                "A board more",
                value={
                    "boards": [
                        {"event": "long_jump", "to_pit_m": 2.0},
                        {"event": "triple_jump", "to_pit_m": 13.0},
                    ]
                },
                request_only=True,
            )
        ],
    )
    def patch(self, request: Request, club: str, runway_id: UUID) -> Response:
        expected = expected_version(request)
        changes = _with_places(self.changes(serializers.RunwayChangesSerializer))
        with club_scope(self.caller.club):
            runway = places.change_runway(
                club=self.caller.club,
                runway_id=runway_id,
                expected=expected,
                changes=changes,
                caller=self.caller,
            )
            return self.kept(runway)


def _with_places(fields: dict[str, Any]) -> dict[str, Any]:
    """Return the fields with each board as its event and its distance from the pit."""
    if "boards" not in fields:
        return fields
    return {**fields, "boards": [(each["event"], each["to_pit_m"]) for each in fields["boards"]]}
