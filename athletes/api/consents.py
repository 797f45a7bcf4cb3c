"""What athletes and guardians agreed to."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from athletes import selectors
from athletes.api import filters, serializers
from athletes.services import consenting
from clubs.api import permissions
from clubs.api.base import CHANGE_PROBLEMS, ClubList, ClubView
from common.api.preconditions import expected_version
from common.api.schema import IF_MATCH
from common.club_scope import club_scope


class ConsentList(ClubList):
    """What the athletes that the caller may see, or their guardians, agreed to."""

    rights = {"GET": permissions.READ_ATHLETES, "POST": permissions.WRITE_ATHLETES}
    operation_names = {"GET": "consents_list", "POST": "consents_create"}
    problems = {"POST": {"409": "There is a consent to this purpose from this day on."}}
    serializer_class = serializers.ConsentSerializer
    filterset_class = filters.ConsentFilter

    def rows(self) -> QuerySet[Any]:
        return selectors.list_consents_for(self.caller, today=self.today)

    @extend_schema(responses=serializers.ConsentSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewConsentSerializer,
        responses={201: serializers.ConsentSerializer},
        description=(
            "Note a consent. Under 13 a guardian gives it; local law may set the age higher, and "
            "the law where the club is decides."
        ),
        examples=[
            OpenApiExample(
                "A guardian's",
                value={
                    "athlete": "019a0000-0000-7000-8000-000000000017",
                    "purpose": "training_records",
                    "given_by": "guardian",
                    "text_version": "2026-01",
                    "from_date": "2026-04-11",
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str) -> Response:
        body = serializers.NewConsentSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        fields = dict(body.validated_data)
        with club_scope(self.caller.club):
            athlete = selectors.get_athlete_for(
                self.caller, fields.pop("athlete"), today=self.today
            )
            consent = consenting.record_consent(
                club=self.caller.club, athlete=athlete, caller=self.caller, **fields
            )
        return self.created(consent, route="consent", consent_id=consent.id)


class ConsentDetail(ClubView):
    """One consent. It is withdrawn from a day on, and never deleted."""

    rights = {"GET": permissions.READ_ATHLETES, "PATCH": permissions.WRITE_ATHLETES}
    operation_names = {"GET": "consents_read", "PATCH": "consents_withdraw"}
    problems = {"PATCH": CHANGE_PROBLEMS}
    serializer_class = serializers.ConsentSerializer

    def get(self, request: Request, club: str, consent_id: UUID) -> Response:
        return self.kept(selectors.get_consent_for(self.caller, consent_id, today=self.today))

    @extend_schema(
        request=serializers.WithdrawalSerializer,
        responses=serializers.ConsentSerializer,
        parameters=[IF_MATCH],
        examples=[
            OpenApiExample("Withdrawn", value={"withdrawn_date": "2026-09-01"}, request_only=True)
        ],
    )
    def patch(self, request: Request, club: str, consent_id: UUID) -> Response:
        expected = expected_version(request)
        body = serializers.WithdrawalSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        consent = consenting.withdraw_consent(
            club=self.caller.club,
            consent_id=consent_id,
            expected=expected,
            withdrawn_date=body.validated_data["withdrawn_date"],
            caller=self.caller,
        )
        return self.kept(consent)
