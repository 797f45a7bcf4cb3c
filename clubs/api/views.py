"""A club and its squads."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from clubs import selectors
from clubs.api import permissions, serializers
from clubs.api.base import CHANGE_PROBLEMS, ClubList, ClubView
from clubs.services import founding, people
from common.api.preconditions import expected_version
from common.api.schema import IF_MATCH


class ClubDetail(ClubView):
    """The club itself."""

    rights = {"GET": permissions.READ_CLUB, "PATCH": permissions.WRITE_CLUB}
    operation_names = {"GET": "club_read", "PATCH": "club_change"}
    problems = {"PATCH": CHANGE_PROBLEMS}
    serializer_class = serializers.ClubSerializer

    def get(self, request: Request, club: str) -> Response:
        return self.kept(self.caller.club)

    @extend_schema(
        request=serializers.ClubChangesSerializer,
        responses=serializers.ClubSerializer,
        parameters=[IF_MATCH],
        description=(
            "The short name stays, since addresses hold it. Another time zone says which day it is "
            "from now on; it moves no day that is written down, and no figure."
        ),
        examples=[
            OpenApiExample("It moved", value={"time_zone": "Europe/Vienna"}, request_only=True)
        ],
    )
    def patch(self, request: Request, club: str) -> Response:
        expected = expected_version(request)
        changed = founding.change_club(
            club=self.caller.club,
            expected=expected,
            changes=self.changes(serializers.ClubChangesSerializer),
            caller=self.caller,
        )
        return self.kept(changed)


class SquadList(ClubList):
    """The club's squads."""

    rights = {"GET": permissions.READ_CLUB, "POST": permissions.WRITE_CLUB}
    operation_names = {"GET": "squads_list", "POST": "squads_create"}
    problems = {"POST": {"409": "The club has a squad of this name."}}
    serializer_class = serializers.SquadSerializer

    def rows(self) -> QuerySet[Any]:
        return selectors.list_squads()

    @extend_schema(responses=serializers.SquadSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewSquadSerializer,
        responses={201: serializers.SquadSerializer},
        examples=[OpenApiExample("A squad", value={"name": "Youth"}, request_only=True)],
    )
    def post(self, request: Request, club: str) -> Response:
        body = serializers.NewSquadSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        squad = people.add_squad(club=self.caller.club, caller=self.caller, **body.validated_data)
        return self.created(squad, route="squad", squad_id=squad.id)


class SquadDetail(ClubView):
    """One squad."""

    rights = {"GET": permissions.READ_CLUB, "PATCH": permissions.WRITE_CLUB}
    operation_names = {"GET": "squads_read", "PATCH": "squads_change"}
    problems = {"PATCH": {**CHANGE_PROBLEMS, "409": "The club has a squad of this name."}}
    serializer_class = serializers.SquadSerializer

    def get(self, request: Request, club: str, squad_id: UUID) -> Response:
        return self.kept(selectors.get_squad(squad_id))

    @extend_schema(
        request=serializers.SquadChangesSerializer,
        responses=serializers.SquadSerializer,
        parameters=[IF_MATCH],
        examples=[OpenApiExample("Another name", value={"name": "Juniors"}, request_only=True)],
    )
    def patch(self, request: Request, club: str, squad_id: UUID) -> Response:
        expected = expected_version(request)
        squad = people.change_squad(
            club=self.caller.club,
            squad_id=squad_id,
            expected=expected,
            changes=self.changes(serializers.SquadChangesSerializer),
            caller=self.caller,
        )
        return self.kept(squad)
