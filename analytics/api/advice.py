"""Advice that was decided on: recorded, published as a plan, and looked back on."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils import translation
from django.utils.cache import patch_vary_headers
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from analytics import selectors
from analytics.answers import looking_back
from analytics.api import advice_serializers as serializers
from analytics.api import filters
from analytics.api.asked import LANGUAGE
from analytics.models import Advice, AdviceKind
from analytics.services import advising, advising_more, afterwards
from approaches import selectors as approach_selectors
from approaches.models import Approach, FinishClass
from clubs.api import permissions
from clubs.api.base import CHANGE_PROBLEMS, ClubList, ClubView
from clubs.errors import MissingScopeError
from common.api.pagination import BoundCursorPagination
from common.api.preconditions import etag_of, expected_version
from common.api.schema import IDEMPOTENCY_KEY
from common.club_scope import club_scope
from common.versions import ANY_VERSION

_EXAMPLE_ATTEMPT = "019a0000-0000-7000-8000-000000000017"


class LatestDecisionFirst(BoundCursorPagination):
    ordering = ("-decided_at", "-id")  # type: ignore[assignment]  # any number of fields


class AdviceView(ClubView):
    """A view of the advice for one approach that the caller may see."""

    def get_approach(self) -> Approach:
        return approach_selectors.get_approach_for(
            self.caller, self.kwargs["approach_id"], today=self.today
        )

    def language(self, request: HttpRequest) -> Any:
        return translation.override(translation.get_language_from_request(request))

    def told(self, advice: Sequence[Advice]) -> Any:
        """Return advice as it is answered, each with what came after it."""
        context = {**self.get_serializer_context(), "afterwards": afterwards.look_back_on(advice)}
        return serializers.AdviceSerializer(advice, many=True, context=context).data


class AdviceList(AdviceView, ClubList):
    """What was advised and what a coach then did, the latest first, each with what came after.

    To record, say what you read: the advice is worked out again, and refused when it is another one
    by now. `publish` makes the next revision of the plan from it; `If-Match` names the latest
    revision, as for any new plan.
    """

    rights = {"GET": permissions.READ_ANALYTICS, "POST": permissions.DECIDE_ON_ADVICE}
    operation_names = {"GET": "advice_list", "POST": "advice_decide"}
    problems = {
        "POST": {
            **CHANGE_PROBLEMS,
            "409": "The advice is another one by now, or there is none, or no plan.",
            "422": "The key was used for another request.",
        }
    }
    serializer_class = serializers.AdviceSerializer
    filterset_class = filters.AdviceFilter
    pagination_class = LatestDecisionFirst

    def rows(self) -> QuerySet[Any]:
        return selectors.list_advice(self.get_approach())

    @extend_schema(parameters=[LANGUAGE], responses=serializers.AdviceSerializer(many=True))
    def get(self, request: Request, club: str, approach_id: UUID) -> Response:
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        with self.language(request._request):
            response = self.get_paginated_response(self.told(list(page or [])))
        patch_vary_headers(response, ["Accept-Language"])
        return response

    @extend_schema(
        request=serializers.DecisionSerializer,
        parameters=[serializers.IF_MATCH_TO_PUBLISH, IDEMPOTENCY_KEY, LANGUAGE],
        responses={201: serializers.AdviceSerializer},
        examples=[
            OpenApiExample(
                "The mark was moved",
                value={
                    "kind": "mark",
                    "through_attempt": _EXAMPLE_ATTEMPT,
                    "answer": "move",
                    "decision": "followed",
                },
                request_only=True,
            ),
            OpenApiExample(
                "Not on a wet day",
                value={
                    "kind": "mark",
                    "through_attempt": _EXAMPLE_ATTEMPT,
                    "answer": "move",
                    "decision": "declined",
                    "reason": "The runway was wet: we look again on a dry day.",
                },
                request_only=True,
            ),
        ],
    )
    def post(self, request: Request, club: str, approach_id: UUID) -> Response:
        body = serializers.DecisionSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        fields = dict(body.validated_data)
        expected = ANY_VERSION
        if fields["publish"]:
            needed = permissions.WRITE_PLANS.scope
            if needed not in self.caller.scopes:
                raise MissingScopeError(f"To publish needs a token with the scope {needed}.")
            expected = expected_version(request)

        def decide() -> Response:
            with club_scope(self.caller.club), self.language(request._request):
                about: dict[str, Any] = {
                    "club": self.caller.club,
                    "approach_id": self.get_approach().id,
                    "finish_class": FinishClass(fields["finish"]),
                    "seen": advising.Seen(
                        fields["through_attempt"], fields["answer"], fields["start_mark_m"]
                    ),
                    "decided": advising.Decided(
                        fields["decision"], fields["reason"], publish=fields["publish"]
                    ),
                    "today": self.today,
                    "caller": self.caller,
                }
                if fields["kind"] == AdviceKind.MARK:
                    advice = advising.decide_on_mark(**about, expected=expected)
                else:
                    advice = advising_more.decide_on_answer(
                        **about, kind=AdviceKind(fields["kind"])
                    )
                response = Response(self.told([advice])[0], status=201)
            response["ETag"] = etag_of(advice.version)
            response["Location"] = reverse(
                "advice_detail",
                kwargs={"club": club, "approach_id": approach_id, "advice_id": advice.id},
            )
            return response

        return self.once(decide, check=self.get_approach)


class AdviceDetail(AdviceView):
    """One advice that was decided on, with what came after. It is never changed."""

    rights = {"GET": permissions.READ_ANALYTICS}
    operation_names = {"GET": "advice_read"}
    serializer_class = serializers.AdviceSerializer

    @extend_schema(parameters=[LANGUAGE], responses=serializers.AdviceSerializer)
    def get(self, request: Request, club: str, approach_id: UUID, advice_id: UUID) -> Response:
        advice = selectors.get_advice_for(self.caller, approach_id, advice_id, today=self.today)
        with self.language(request._request):
            response = Response(self.told([advice])[0])
        patch_vary_headers(response, ["Accept-Language"])
        return response


class AdviceSummary(AdviceView):
    """How often advice for this approach was right, by what the coach did about it.

    Of one answer under one plan revision the latest decision counts alone.
    """

    rights = {"GET": permissions.READ_ANALYTICS}
    operation_names = {"GET": "advice_summary"}
    serializer_class = serializers.AdviceSummarySerializer

    @extend_schema(parameters=[LANGUAGE], responses=serializers.AdviceSummarySerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> Response:
        advice = list(selectors.list_advice(self.get_approach()))
        looked = afterwards.look_back_on(advice)
        tallies = looking_back.count_up((each, looked[each.id]) for each in advice)
        with self.language(request._request):
            summary = {
                "approach": approach_id,
                "n": len(advice),
                "text": looking_back.tell_tallies(tallies),
                "results": tallies,
            }
            response = Response(serializers.AdviceSummarySerializer(summary).data)
        patch_vary_headers(response, ["Accept-Language"])
        return response
