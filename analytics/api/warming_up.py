"""What run-throughs say about today's mark, between two of them."""

from uuid import UUID

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request

from analytics.answers import warm_up
from analytics.api import warming_up_serializers as serializers
from analytics.api.asked import LANGUAGE, AskedView
from analytics.services import warm_ups
from analytics.services.figures import as_json
from analytics.services.heads import head_of
from approaches import selectors as approach_selectors
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
        found = warm_ups.read_warm_ups_for(
            self.caller, session_id, approach_id=approach_id, today=self.today
        )
        return self.worded(
            lambda: {
                "session": session_id,
                "kind": session.kind,
                "results": [
                    {"athlete": each.athlete_id, "athlete_code": each.athlete_code}
                    | head_of(each.run_throughs)
                    | as_json(each.answer)
                    | as_json(warm_up.tell(each.answer))
                    for each in found
                ],
            }
        )

    def _approach(self) -> UUID | None:
        given = self.request.query_params.get("approach")
        try:
            return None if given is None else UUID(given)
        except ValueError as error:
            raise InvalidParameterError("approach is the id of a run-up.") from error
