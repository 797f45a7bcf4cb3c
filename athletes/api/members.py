"""The people of a club: their roles, and which athlete a member is."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from athletes import selectors
from athletes.api import filters, serializers
from athletes.services import members
from clubs.api import permissions
from clubs.api.base import CHANGE_PROBLEMS, ClubList, ClubView
from common.api.preconditions import expected_version
from common.api.schema import IF_MATCH


class MemberList(ClubList):
    """Everybody who is or was a member."""

    rights = {"GET": permissions.WRITE_CLUB, "POST": permissions.WRITE_CLUB}
    operation_names = {"GET": "members_list", "POST": "members_create"}
    problems = {"POST": {"409": "The person is or was a member, or the athlete is another member."}}
    serializer_class = serializers.MemberSerializer
    filterset_class = filters.MemberFilter

    def rows(self) -> QuerySet[Any]:
        return selectors.list_members()

    @extend_schema(responses=serializers.MemberSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewMemberSerializer,
        responses={201: serializers.MemberSerializer},
        description=(
            "Nothing is sent to the address. Whoever has no token yet is given the first one at "
            "`members/{member_id}/tokens/`."
        ),
        examples=[
            OpenApiExample(
                "A coach",
                value={"email": "ida.lund@example.org", "role": "coach"},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str) -> Response:
        body = serializers.NewMemberSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        fields = dict(body.validated_data)
        member = members.add_member(
            club=self.caller.club,
            athlete_id=fields.pop("athlete"),
            caller=self.caller,
            **fields,
        )
        return self.created(member, route="member", member_id=member.id)


class MemberDetail(ClubView):
    """One member."""

    rights = {"GET": permissions.WRITE_CLUB, "PATCH": permissions.WRITE_CLUB}
    operation_names = {"GET": "members_read", "PATCH": "members_change"}
    problems = {
        "PATCH": {
            **CHANGE_PROBLEMS,
            "409": "The club would have no admin, or the athlete is another member.",
        }
    }
    serializer_class = serializers.MemberSerializer

    def get(self, request: Request, club: str, member_id: UUID) -> Response:
        return self.kept(selectors.get_member(member_id))

    @extend_schema(
        request=serializers.MemberChangesSerializer,
        responses=serializers.MemberSerializer,
        parameters=[IF_MATCH],
        description=(
            "It holds from the next request on: the tokens of an ended membership are good for "
            "nothing, and are again when it is taken up with `ended` false. A club keeps at least "
            "one admin."
        ),
        examples=[
            OpenApiExample("Who left", value={"ended": True}, request_only=True),
            OpenApiExample("Another role", value={"role": "coach"}, request_only=True),
        ],
    )
    def patch(self, request: Request, club: str, member_id: UUID) -> Response:
        expected = expected_version(request)
        member = members.change_member(
            club=self.caller.club,
            member_id=member_id,
            expected=expected,
            changes=self.changes(serializers.MemberChangesSerializer),
            caller=self.caller,
        )
        return self.kept(member)
