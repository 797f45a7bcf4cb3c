"""What run-throughs say about today's mark, between two of them."""

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request

from analytics import selectors
from analytics.answers import warm_up
from analytics.answers.remembered import memory
from analytics.api import warming_up_serializers as serializers
from analytics.api.asked import LANGUAGE, MOST_LAST, AskedView, head_of
from analytics.selectors import Series
from analytics.services.figures import as_json
from approaches import selectors as approach_selectors
from approaches.models import FinishClass
from common.api.errors import InvalidParameterError


class WarmUpView(AskedView):
    """Today's mark for each athlete who warms up in a session and whom the caller may see.

    From the run-throughs of the session, from how they land against jumps in others, and from what
    a day of its kind usually does. With `approach` that run-up alone, before its first run-through
    as well.
    """

    parameters = {"GET": frozenset({"approach"})}
    operation_names = {"GET": "warm_up_read"}
    serializer_class = serializers.WarmUpsSerializer

    @extend_schema(
        parameters=[
            OpenApiParameter("approach", UUID, description="Only this run-up."),
            LANGUAGE,
        ],
        responses=serializers.WarmUpsSerializer,
    )
    def get(self, request: Request, club: str, session_id: UUID) -> HttpResponse:
        approach_id = self._approach()
        session = approach_selectors.get_session(session_id)
        found = [
            (each, *self._work_out(each.approach_id, session_id))
            for each in selectors.list_warming_up_for(
                self.caller, session_id, approach_id=approach_id, today=self.today
            )
        ]
        return self.worded(
            lambda: {
                "session": session_id,
                "kind": session.kind,
                "results": [
                    {"athlete": each.athlete_id, "athlete_code": each.athlete_code}
                    | head
                    | as_json(answer)
                    | as_json(warm_up.tell(answer))
                    for each, head, answer in found
                ],
            }
        )

    def _work_out(self, approach_id: UUID, session_id: UUID) -> tuple[dict[str, Any], Any]:
        run_throughs, jumps = (
            selectors.read_run_ups_for(
                self.caller, Series(approach_id, kind), last=MOST_LAST, today=self.today
            )
            for kind in (FinishClass.RUN_THROUGH, FinishClass.JUMP)
        )
        competitions = selectors.find_competitions([*jumps.session_ids, session_id])
        answer = memory.recall(
            (type(self).__name__, run_throughs.key, jumps.key, session_id, competitions),
            lambda: warm_up.work_out(
                run_throughs, jumps, session=session_id, competitions=competitions
            ),
        )
        return head_of(run_throughs), answer

    def _approach(self) -> UUID | None:
        given = self.request.query_params.get("approach")
        try:
            return None if given is None else UUID(given)
        except ValueError as error:
            raise InvalidParameterError("approach is the id of a run-up.") from error
