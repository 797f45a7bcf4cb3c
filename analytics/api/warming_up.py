"""What run-throughs say about today's mark, between two of them."""

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request

from analytics import selectors
from analytics.answers import warm_up
from analytics.answers.remembered import memory
from analytics.answers.warm_up import WarmingUp
from analytics.api import warming_up_serializers as serializers
from analytics.api.asked import LANGUAGE, MOST_LAST, AskedView
from analytics.selectors import RunUps, Series
from analytics.services.figures import as_json
from analytics.services.heads import head_of
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

    def _work_out(self, approach_id: UUID, session_id: UUID) -> tuple[dict[str, Any], WarmingUp]:
        run_throughs = run_throughs_of(self, approach_id)
        return head_of(run_throughs), calibrated(self, run_throughs, approach_id, session_id)

    def _approach(self) -> UUID | None:
        given = self.request.query_params.get("approach")
        try:
            return None if given is None else UUID(given)
        except ValueError as error:
            raise InvalidParameterError("approach is the id of a run-up.") from error


def run_throughs_of(view: AskedView, approach_id: UUID) -> RunUps:
    """Return the latest run-throughs of a run-up that the caller may see."""
    return selectors.read_run_ups_for(
        view.caller,
        Series(approach_id, FinishClass.RUN_THROUGH),
        last=MOST_LAST,
        today=view.today,
    )


def calibrated(
    view: AskedView, run_throughs: RunUps, approach_id: UUID, session_id: UUID
) -> WarmingUp:
    """Return what the run-throughs of a session say of today's mark, worked out once."""
    jumps = selectors.read_run_ups_for(
        view.caller, Series(approach_id, FinishClass.JUMP), last=MOST_LAST, today=view.today
    )
    competitions = selectors.find_competitions([*jumps.session_ids, session_id])
    return memory.recall(
        ("warm-up", run_throughs.key, jumps.key, session_id, competitions),
        lambda: warm_up.work_out(
            run_throughs, jumps, session=session_id, competitions=competitions
        ),
    )
