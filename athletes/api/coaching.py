"""Who trains in which squad, and who coaches whom."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from athletes import selectors
from athletes.api import filters, serializers
from athletes.services import coaching, joining
from clubs import selectors as club_selectors
from clubs.api import permissions
from clubs.api.base import CHANGE_PROBLEMS, ClubList, ClubView
from common.api.preconditions import expected_version
from common.api.schema import IF_MATCH
from common.club_scope import club_scope

_OVERLAP = "There is one on some of these days."


class SquadMemberList(ClubList):
    """Times in a squad, past and to come, of the athletes that the caller may see."""

    rights = {"GET": permissions.READ_ATHLETES, "POST": permissions.WRITE_ATHLETES}
    operation_names = {"GET": "squad_members_list", "POST": "squad_members_create"}
    problems = {"POST": {"409": _OVERLAP}}
    serializer_class = serializers.SquadMemberSerializer
    filterset_class = filters.SquadMemberFilter

    def rows(self) -> QuerySet[Any]:
        squad = club_selectors.get_squad(self.kwargs["squad_id"])
        return selectors.list_squad_times_for(self.caller, squad, today=self.today)

    @extend_schema(responses=serializers.SquadMemberSerializer(many=True))
    def get(self, request: Request, club: str, squad_id: UUID) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewSquadMemberSerializer,
        responses={201: serializers.SquadMemberSerializer},
        examples=[
            OpenApiExample(
                "For the summer",
                value={
                    "athlete": "019a0000-0000-7000-8000-000000000017",
                    "from_date": "2026-05-01",
                    "until_date": "2026-09-30",
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str, squad_id: UUID) -> Response:
        body = serializers.NewSquadMemberSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        fields = {"from_date": self.today, **body.validated_data}
        with club_scope(self.caller.club):
            member = joining.add_squad_member(
                club=self.caller.club,
                squad=club_selectors.get_squad(squad_id),
                athlete=selectors.get_athlete_for(
                    self.caller, fields.pop("athlete"), today=self.today
                ),
                caller=self.caller,
                **fields,
            )
        return self.created(
            member, route="squad-member", squad_id=squad_id, squad_member_id=member.id
        )


class SquadMemberDetail(ClubView):
    """An athlete's time in a squad."""

    rights = {"GET": permissions.READ_ATHLETES, "PATCH": permissions.WRITE_ATHLETES}
    operation_names = {"GET": "squad_members_read", "PATCH": "squad_members_change"}
    problems = {"PATCH": {**CHANGE_PROBLEMS, "409": _OVERLAP}}
    serializer_class = serializers.SquadMemberSerializer

    def get(self, request: Request, club: str, squad_id: UUID, squad_member_id: UUID) -> Response:
        squad = club_selectors.get_squad(squad_id)
        return self.kept(
            selectors.get_squad_time_for(self.caller, squad, squad_member_id, today=self.today)
        )

    @extend_schema(
        request=serializers.DaysChangesSerializer,
        responses=serializers.SquadMemberSerializer,
        parameters=[IF_MATCH],
        description="Coaches of the squad see the athlete until the last day is over.",
        examples=[OpenApiExample("End it", value={"until_date": "2026-09-30"}, request_only=True)],
    )
    def patch(self, request: Request, club: str, squad_id: UUID, squad_member_id: UUID) -> Response:
        expected = expected_version(request)
        member = joining.change_squad_member(
            club=self.caller.club,
            squad_id=squad_id,
            squad_member_id=squad_member_id,
            expected=expected,
            changes=self.changes(serializers.DaysChangesSerializer),
            caller=self.caller,
        )
        return self.kept(member)


class CoachAssignmentList(ClubList):
    """Who coaches whom, past and to come; a coach sees their own charges."""

    rights = {"GET": permissions.READ_ASSIGNMENTS, "POST": permissions.WRITE_ATHLETES}
    operation_names = {"GET": "coach_assignments_list", "POST": "coach_assignments_create"}
    problems = {"POST": {"409": _OVERLAP}}
    serializer_class = serializers.CoachAssignmentSerializer
    filterset_class = filters.CoachAssignmentFilter

    def rows(self) -> QuerySet[Any]:
        return selectors.list_charges_of(self.caller)

    @extend_schema(responses=serializers.CoachAssignmentSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewCoachAssignmentSerializer,
        responses={201: serializers.CoachAssignmentSerializer},
        description=(
            "Either a squad or one athlete. The coach sees and writes for them from the first day "
            "to the last, from the next request on."
        ),
        examples=[
            OpenApiExample(
                "A squad, for the season",
                value={
                    "coach": "019a0000-0000-7000-8000-000000000042",
                    "squad": "019a0000-0000-7000-8000-000000000007",
                    "from_date": "2026-04-01",
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str) -> Response:
        body = serializers.NewCoachAssignmentSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        fields = {"from_date": self.today, **body.validated_data}
        coach_id, squad_id = fields.pop("coach"), fields.pop("squad")
        athlete_id = fields.pop("athlete")
        with club_scope(self.caller.club):
            assignment = coaching.assign_coach(
                club=self.caller.club,
                coach=club_selectors.get_member(coach_id),
                squad=None if squad_id is None else club_selectors.get_squad(squad_id),
                athlete=None
                if athlete_id is None
                else selectors.get_athlete_for(self.caller, athlete_id, today=self.today),
                caller=self.caller,
                **fields,
            )
        return self.created(assignment, route="coach-assignment", assignment_id=assignment.id)


class CoachAssignmentDetail(ClubView):
    """One charge of a coach."""

    rights = {
        "GET": permissions.READ_ASSIGNMENTS,
        "PATCH": permissions.WRITE_ATHLETES,
        "DELETE": permissions.WRITE_ATHLETES,
    }
    operation_names = {
        "GET": "coach_assignments_read",
        "PATCH": "coach_assignments_change",
        "DELETE": "coach_assignments_remove",
    }
    problems = {"PATCH": {**CHANGE_PROBLEMS, "409": _OVERLAP}}
    serializer_class = serializers.CoachAssignmentSerializer

    def get(self, request: Request, club: str, assignment_id: UUID) -> Response:
        return self.kept(selectors.get_charge_of(self.caller, assignment_id))

    @extend_schema(
        request=serializers.DaysChangesSerializer,
        responses=serializers.CoachAssignmentSerializer,
        parameters=[IF_MATCH],
        examples=[
            OpenApiExample("For the season", value={"until_date": "2026-09-30"}, request_only=True)
        ],
    )
    def patch(self, request: Request, club: str, assignment_id: UUID) -> Response:
        expected = expected_version(request)
        assignment = coaching.change_assignment(
            club=self.caller.club,
            assignment_id=assignment_id,
            expected=expected,
            changes=self.changes(serializers.DaysChangesSerializer),
            caller=self.caller,
        )
        return self.kept(assignment)

    @extend_schema(
        responses={204: None},
        description=(
            "For one that was given by mistake: it is gone, and the audit keeps whose it was. One "
            "that was in force is ended with `until_date`."
        ),
    )
    def delete(self, request: Request, club: str, assignment_id: UUID) -> Response:
        coaching.remove_assignment(
            club=self.caller.club, assignment_id=assignment_id, caller=self.caller
        )
        return Response(status=204)
