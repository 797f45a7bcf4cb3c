"""Who needs somebody today, and why: every athlete whom the caller may see, at one look."""

from typing import Any
from uuid import UUID

import msgspec
from django.http import HttpResponse
from django.utils import translation
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request

from analytics import selectors
from analytics.answers import overview, overview_words
from analytics.answers.remembered import memory
from analytics.api import overview_serializers as serializers
from analytics.api.asked import LANGUAGE, AskedView
from analytics.selectors import SquadFacts
from analytics.services.method import METHOD
from clubs import selectors as club_selectors
from common.api.errors import InvalidParameterError

_encoder = msgspec.json.Encoder()


class OverviewView(AskedView):
    """Who needs somebody today, and why: the athletes whom the caller may see.

    Reasons come the most urgent first, and so do athletes; those who are equally urgent stand in
    the order of their codes, for no figure ranks them. From stored figures: what mark-advice and
    practice-focus say here, they said after the last finished session.
    """

    parameters = {"GET": frozenset({"squad"})}
    operation_names = {"GET": "overview_read"}
    serializer_class = serializers.OverviewSerializer

    @extend_schema(
        parameters=[
            OpenApiParameter("squad", UUID, description="Only those who are in this squad today."),
            LANGUAGE,
        ],
        responses=serializers.OverviewSerializer,
    )
    def get(self, request: Request, club: str) -> HttpResponse:
        squad_id = self._squad()
        squad = selectors.read_squad_for(
            self.caller,
            squad_id=squad_id,
            days_ahead=overview.DAYS_AHEAD,
            method=METHOD,
            today=self.today,
        )
        if squad_id is not None and not squad.athletes:
            club_selectors.get_squad(squad_id)  # whoever is in one shows that it is there
        language = translation.get_language_from_request(request._request)
        return self.worded(
            lambda: {
                "squad": squad_id,
                "today": self.today,
                "method": METHOD,
                "days_ahead": overview.DAYS_AHEAD,
                "ahead": squad.ahead,
                # Written once: who asks about the same again gets the same bytes.
                **memory.recall(
                    ("overview", language, self.today, squad.athletes), lambda: self._look(squad)
                ),
            }
        )

    def _look(self, squad: SquadFacts) -> dict[str, Any]:
        watched = overview.look_over(squad, today=self.today)
        said = overview_words.tell_all(watched)
        return {
            "n": len(watched),
            "as_of": min((each.as_of for each in watched if each.as_of is not None), default=None),
            "stale": any(each.stale for each in watched),
            "text": said.text,
            "n_today": said.n_today,
            "n_soon": said.n_soon,
            "results": msgspec.Raw(_encoder.encode(said.results)),
        }

    def _squad(self) -> UUID | None:
        given = self.request.query_params.get("squad")
        if given is None:
            return None
        try:
            return UUID(given)
        except ValueError as error:
            raise InvalidParameterError("squad is the id of a squad.") from error
