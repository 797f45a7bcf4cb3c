"""Correct attempts, void them, and see what they were before."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from approaches import selectors
from approaches.api import serializers
from approaches.models import Attempt
from approaches.services import changes, correcting, forms
from clubs.api import permissions
from clubs.api.base import CHANGE_PROBLEMS, ClubList, ClubView
from common.api.preconditions import etag_of, expected_version
from common.api.schema import IF_MATCH

_VOIDED = {"409": "The attempt was voided."}


class CorrectionList(ClubList):
    """What an attempt was before each change, and the door for one more correction."""

    rights = {"GET": permissions.READ_ATTEMPTS, "POST": permissions.ATTEMPTS_BY_HAND}
    operation_names = {"GET": "attempt_versions_list", "POST": "attempts_correct"}
    problems = {
        "POST": {
            **CHANGE_PROBLEMS,
            **_VOIDED,
            "422": "The corrected attempt would break a rule of a push; nothing was changed.",
        }
    }
    serializer_class = serializers.AttemptVersionSerializer

    def rows(self) -> QuerySet[Any]:
        attempt = selectors.get_attempt_for(
            self.caller, self.kwargs["attempt_id"], today=self.today
        )
        return selectors.list_versions(attempt)

    @extend_schema(responses=serializers.AttemptVersionSerializer(many=True))
    def get(self, request: Request, club: str, attempt_id: UUID) -> Response:
        return self.listed()

    @extend_schema(
        request=changes.Correction,
        responses=serializers.AttemptSerializer,
        parameters=[IF_MATCH],
        examples=[
            OpenApiExample(
                "A slip of the pen",
                value={
                    "changes": {"official_m": "6.14", "footfalls": {"toe_m": [0.07, 2.21, 4.58]}},
                    "reason": "Two digits were swapped.",
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str, attempt_id: UUID) -> Response:
        expected = expected_version(request)
        correction = forms.read_form(request.data, changes.Correction)
        attempt = correcting.correct_attempt(
            club=self.caller.club,
            attempt_id=attempt_id,
            expected=expected,
            changes=correction.changes,
            reason=correction.reason,
            caller=self.caller,
        )
        return _answer(attempt)


class AttemptVoid(ClubView):
    """Let an attempt count no more."""

    rights = {"POST": permissions.ATTEMPTS_BY_HAND}
    operation_names = {"POST": "attempts_void"}
    problems = {"POST": {**CHANGE_PROBLEMS, **_VOIDED}}
    serializer_class = serializers.AttemptSerializer

    @extend_schema(
        request=changes.Reasoned,
        responses=serializers.AttemptSerializer,
        parameters=[IF_MATCH],
        examples=[
            OpenApiExample(
                "Sent twice", value={"reason": "The gate was triggered twice."}, request_only=True
            )
        ],
    )
    def post(self, request: Request, club: str, attempt_id: UUID) -> Response:
        expected = expected_version(request)
        sent = forms.read_form(request.data, changes.Reasoned)
        attempt = correcting.void_attempt(
            club=self.caller.club,
            attempt_id=attempt_id,
            expected=expected,
            reason=sent.reason,
            caller=self.caller,
        )
        return _answer(attempt)


def _answer(attempt: Attempt) -> Response:
    response = Response(serializers.AttemptSerializer(attempt).data)
    response["ETag"] = etag_of(attempt.version)
    return response
