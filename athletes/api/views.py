"""The club's athletes."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from athletes import selectors
from athletes.api import filters, serializers
from athletes.models import Athlete
from athletes.services import records
from clubs.api import permissions
from clubs.api.base import CHANGE_PROBLEMS, ClubList, ClubView
from common.api.preconditions import expected_version
from common.api.schema import IF_MATCH


class AthleteList(ClubList):
    """The athletes that the caller may see."""

    rights = {"GET": permissions.READ_ATHLETES, "POST": permissions.WRITE_ATHLETES}
    operation_names = {"GET": "athletes_list", "POST": "athletes_create"}
    problems = {"POST": {"409": "The club has an athlete with this code."}}
    serializer_class = serializers.AthleteSerializer
    filterset_class = filters.AthleteFilter

    def rows(self) -> QuerySet[Any]:
        return selectors.list_athletes_for(self.caller, today=self.today)

    @extend_schema(responses=serializers.AthleteSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewAthleteSerializer,
        responses={201: serializers.AthleteSerializer},
        examples=[
            OpenApiExample(
                "A jumper",
                value={
                    "code": "A-90",
                    "given_name": "Mira",
                    "family_name": "Feld",
                    "birth_date": "2010-04-09",
                    "take_off_foot": "left",
                    "shoe_length_m": 0.272,
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str) -> Response:
        body = serializers.NewAthleteSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        athlete = records.add_athlete(
            club=self.caller.club, caller=self.caller, **body.validated_data
        )
        return self.created(athlete, route="athlete", athlete_id=athlete.id)


class AthleteDetail(ClubView):
    """One athlete."""

    rights = {"GET": permissions.READ_ATHLETES, "PATCH": permissions.WRITE_ATHLETES}
    operation_names = {"GET": "athletes_read", "PATCH": "athletes_change"}
    problems = {"PATCH": {**CHANGE_PROBLEMS, "409": "The club has an athlete with this code."}}
    serializer_class = serializers.AthleteSerializer

    def get(self, request: Request, club: str, athlete_id: UUID) -> Response:
        return self.kept(selectors.get_athlete_for(self.caller, athlete_id, today=self.today))

    @extend_schema(
        request=serializers.AthleteChangesSerializer,
        responses=serializers.AthleteSerializer,
        parameters=[IF_MATCH],
        examples=[OpenApiExample("New shoes", value={"shoe_length_m": 0.28}, request_only=True)],
    )
    def patch(self, request: Request, club: str, athlete_id: UUID) -> Response:
        expected = expected_version(request)
        athlete = records.change_athlete(
            club=self.caller.club,
            athlete_id=athlete_id,
            expected=expected,
            changes=self.changes(serializers.AthleteChangesSerializer),
            caller=self.caller,
        )
        return self.kept(athlete)


class AthleteView(ClubView):
    """A view of one athlete whom the caller may see."""

    def get_athlete(self) -> Athlete:
        return selectors.get_athlete_for(self.caller, self.kwargs["athlete_id"], today=self.today)
