"""Questions that take longer than a request may: ask, look how far it is, read, call off."""

from abc import ABC
from collections.abc import Callable
from typing import Any, TypeVar
from uuid import UUID

from django.http import HttpResponse
from django.urls import reverse
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from analytics import selectors
from analytics.answers import waiting as states
from analytics.api import work_serializers as serializers
from analytics.api.asked import LANGUAGE, AskedView
from analytics.models import AskedWork, WorkKind
from analytics.services import heavy, what_ifs, working
from analytics.services.figures import as_json
from analytics.services.method import METHOD
from approaches import selectors as approach_selectors
from clubs.api import permissions
from common import waiting
from common.api.preferences import LONGEST_WAIT_S, preferred_wait
from common.club_scope import club_scope

View = TypeVar("View", bound=Callable[..., HttpResponse])

# When looking again is worth a try.
LOOK_AGAIN_S = 1

_PREFER = OpenApiParameter(
    "Prefer",
    str,
    OpenApiParameter.HEADER,
    description=(
        f"`wait=5`: wait up to 5 seconds for the answer (at most {LONGEST_WAIT_S}). Few may wait "
        "at once; `Preference-Applied` says who did."
    ),
)


class WorkView(AskedView, ABC):
    """A view that answers with one work."""

    serializer_class = serializers.WorkSerializer

    def told(self, work: AskedWork) -> dict[str, Any]:
        """Return a work as it is answered, in the language that is in use."""
        answer = None
        if work.answer is not None and work.kind in heavy.KINDS:
            answer = work.answer | as_json(heavy.KINDS[work.kind].tell(work.answer))
        return {
            "id": work.id,
            "kind": work.kind,
            "state": work.state,
            "text": states.tell_state(
                work.state, done=work.n_done, parts=work.n_parts, failure=work.failure
            ),
            "progress": {"done": work.n_done, "of": work.n_parts},
            "asked": work.asked,
            "asked_at": work.asked_at,
            "started_at": work.started_at,
            "finished_at": work.finished_at,
            "forget_at": work.forget_at,
            "failure": (
                {"code": work.failure, "text": states.tell_failure(work.failure)}
                if work.failure
                else None
            ),
            "answer": answer,
        }

    def answered_with(self, work: AskedWork, *, unfinished: int = 200) -> HttpResponse:
        """Answer with a work; wait for its end first, if the client prefers that."""
        wait_s = preferred_wait(self.request._request)
        was_applied = wait_s is not None
        if wait_s and not work.is_over:
            with waiting.seat() as was_applied:
                if was_applied:
                    work = self._wait_for(work, wait_s)
        response = self.worded(lambda: self.told(work))
        if not work.is_over:
            response.status_code = unfinished
            response["Retry-After"] = str(LOOK_AGAIN_S)
        if was_applied:
            response["Preference-Applied"] = f"wait={wait_s}"
        return response

    def _wait_for(self, work: AskedWork, wait_s: float) -> AskedWork:
        """Return the work once it is over, or as it is when the time is."""
        self.leave_scope()
        for _ in waiting.pauses(wait_s):
            with self.scope():
                work = selectors.get_work_for(self.caller, work.id, today=self.today, method=METHOD)
            if work.is_over:
                break
        return work


class AskingView(WorkView, ABC):
    """A view that asks for work: 202 with where to look for it, or 200 when it is there already."""

    rights = {"POST": permissions.ASK_FOR_WORK}
    problems = {"POST": {"429": "Many questions of the club wait; see Retry-After."}}

    def asked_for(self, work: AskedWork) -> HttpResponse:
        """Answer that a work waits, or with what is known already."""
        response = self.answered_with(work, unfinished=202)
        response["Location"] = reverse(
            "work_detail", kwargs={"club": self.caller.club.slug, "work_id": work.id}
        )
        return response


def asking(**options: Any) -> Callable[[View], View]:
    """Return the part of the schema that all views have in common that ask for work."""
    decorate: Callable[[View], View] = extend_schema(
        parameters=[_PREFER, LANGUAGE],
        responses={
            200: OpenApiResponse(serializers.WorkSerializer, "It is over: the answer is in it."),
            202: OpenApiResponse(
                serializers.WorkSerializer, "It waits or goes on: look at `Location` again."
            ),
        },
        **options,
    )
    return decorate


class WhatIfView(AskingView):
    """What another start mark, aim, wind or steadiness would do to no jumps and distance.

    Simulated with the habits of the latest attempts, in pairs with the same luck. It takes some
    seconds, so that a worker does it. The same question about the same attempts is worked out once.
    """

    operation_names = {"POST": "what_if_ask"}

    @asking(
        request=serializers.WhatIfSerializer,
        examples=[
            OpenApiExample(
                "Half of the unsteadiness in the last five steps",
                value={"steadier": {"first_step": 5, "last_step": 1, "factor": 0.5}},
                request_only=True,
            ),
            OpenApiExample(
                "A mark 10 cm nearer the pit, in a head wind",
                value={"move_mark_m": -0.1, "wind_mps": -1.5, "last": 60},
                request_only=True,
            ),
        ],
    )
    def post(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        body = serializers.WhatIfSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        choices = dict(body.validated_data)
        finish, last = choices.pop("finish"), choices.pop("last")
        with club_scope(self.caller.club):
            approach = approach_selectors.get_approach_for(
                self.caller, approach_id, today=self.today
            )
            what_ifs.check(choices, approach)
            work = working.ask(
                club=self.caller.club,
                kind=WorkKind.WHAT_IF,
                asked={
                    "approach": str(approach_id),
                    "finish": finish,
                    "last": last,
                    "choices": choices,
                },
                athlete_ids=[approach.athlete_id],
                caller=self.caller,
            )
        return self.asked_for(work)


class WorkDetail(WorkView):
    """How far a question is that was asked before, and its answer once there is one.

    Whoever may see all athletes that it is about may read it. Who alone asked it may call it off,
    or an admin: deleted, it stops within moments, and its answer is gone. It is forgotten by itself
    after a week.
    """

    rights = {"GET": permissions.READ_ANALYTICS, "DELETE": permissions.ASK_FOR_WORK}
    operation_names = {"GET": "work_read", "DELETE": "work_call_off"}
    problems = {"DELETE": {"403": "The role may not, or somebody else asked it (too)."}}

    @extend_schema(parameters=[_PREFER, LANGUAGE], responses=serializers.WorkSerializer)
    def get(self, request: Request, club: str, work_id: UUID) -> HttpResponse:
        work = selectors.get_work_for(self.caller, work_id, today=self.today, method=METHOD)
        return self.answered_with(work)

    @extend_schema(responses={204: None})
    def delete(self, request: Request, club: str, work_id: UUID) -> Response:
        with club_scope(self.caller.club):
            work = selectors.get_work_for(self.caller, work_id, today=self.today, method=METHOD)
            working.call_off(club=self.caller.club, work_id=work.id, caller=self.caller)
        return Response(status=204)
