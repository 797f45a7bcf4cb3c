"""What to expect and what to do: outlook, aim, start mark, practice, the next attempt."""

import re
from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request

from analytics import selectors
from analytics.answers import aim, mark_advice, next_attempt, outlook, practice_focus
from analytics.answers.aim import MOST_ATTEMPTS
from analytics.answers.next_attempt import CUT_AFTER
from analytics.api import answer_serializers as serializers
from analytics.api.asked import EVERY, LANGUAGE, AnswerView, AskedView
from analytics.services import next_attempts
from analytics.services.figures import as_json
from analytics.services.heads import head_of
from approaches import selectors as approach_selectors
from common.api.errors import InvalidParameterError

FARTHEST_M = 25
_CENTIMETRES = re.compile(r"[0-9]{1,2}(\.[0-9]{1,2}0*)?")
_DISTANCE = {"type": "number", "minimum": 0.01, "maximum": FARTHEST_M, "multipleOf": 0.01}
_SESSION = OpenApiParameter(
    "session",
    UUID,
    description="The session in which the attempts will be; without it, or one without attempts "
    "so far, they are expected on a new day.",
)
_CUT = OpenApiParameter(
    "cut_m",
    _DISTANCE,
    description="Official distance expected to be needed to be among the best eight.",
)


class _InSession(AnswerView):
    """An answer about attempts to come, in a session that goes on or in a new one."""

    def session(self) -> UUID | None:
        given = self.request.query_params.get("session")
        try:
            return None if given is None else UUID(given)
        except ValueError as error:
            raise InvalidParameterError("session is the id of a session.") from error


def distance(view: AskedView, name: str) -> float | None:
    """Return an official distance that was asked with, in whole centimetres."""
    given = view.request.query_params.get(name)
    if given is None:
        return None
    if not _CENTIMETRES.fullmatch(given) or not 0 < float(given) <= FARTHEST_M:
        raise InvalidParameterError(
            f"{name} is a distance up to {FARTHEST_M} m in whole centimetres."
        )
    return float(given)


class OutlookView(_InSession):
    """What the next attempts will probably do at the board: no jump, on the board, or short of it.

    For attempts like those that it rests on. Wind, a new runway, tiredness or pain are not in it.
    """

    parameters = {"GET": frozenset({"finish", "last", "session"})}
    operation_names = {"GET": "outlook_read"}
    serializer_class = serializers.OutlookAnswerSerializer
    work_out = staticmethod(outlook.work_out)
    tell = staticmethod(outlook.tell)

    @extend_schema(parameters=[*EVERY, _SESSION], responses=serializers.OutlookAnswerSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()

    def choices(self) -> Mapping[str, Any]:
        return {"session": self.session()}


class AimView(_InSession):
    """How far behind the line to aim, for the attempts that are left in a competition.

    From full jumps with an official distance and a measured toe. Ask again before each attempt.
    """

    parameters = {
        "GET": frozenset({"finish", "last", "session", "attempts_left", "best_m", "cut_m"})
    }
    operation_names = {"GET": "aim_read"}
    serializer_class = serializers.AimAnswerSerializer
    work_out = staticmethod(aim.work_out)
    tell = staticmethod(aim.tell)

    @extend_schema(
        parameters=[
            *EVERY,
            _SESSION,
            OpenApiParameter(
                "attempts_left",
                {"type": "integer", "minimum": 1, "maximum": MOST_ATTEMPTS},
                default=MOST_ATTEMPTS,
                description="Those included that only the best eight get.",
            ),
            OpenApiParameter(
                "best_m", _DISTANCE, description="Best official distance so far, if any."
            ),
            _CUT,
        ],
        responses=serializers.AimAnswerSerializer,
    )
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()

    def choices(self) -> Mapping[str, Any]:
        left = self.whole_number(
            "attempts_left", least=1, most=MOST_ATTEMPTS, default=MOST_ATTEMPTS
        )
        cut_m = distance(self, "cut_m")
        if cut_m is not None and left <= CUT_AFTER:
            raise InvalidParameterError(
                f"With {CUT_AFTER} attempts left or fewer the cut is passed: leave out cut_m."
            )
        return {
            "session": self.session(),
            "attempts_left": left,
            "best_m": distance(self, "best_m"),
            "cut_m": cut_m,
        }


class _OfABody(AnswerView):
    """An answer that heights have a say in: who has grown has outgrown the marks."""

    def choices(self) -> Mapping[str, Any]:
        body = selectors.read_body_for(
            self.caller, self.kwargs["approach_id"], today=self.today, with_jumps=False
        )
        return {"body": body}


class MarkAdviceView(_OfABody):
    """Shall the start mark be moved, and by how much?

    The mark is the plan's, for still air. `move_m` is negative toward the pit. A mark is moved in
    training first.
    """

    operation_names = {"GET": "mark_advice_read"}
    serializer_class = serializers.MarkAnswerSerializer
    work_out = staticmethod(mark_advice.work_out)
    tell = staticmethod(mark_advice.tell)

    @extend_schema(parameters=EVERY, responses=serializers.MarkAnswerSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()


class PracticeFocusView(_OfABody):
    """What to put right first: the mark, a part of the run-up, the last steps, or nothing shown.

    From the attempts of the latest plan revision among those looked at. Each possible trouble comes
    with its number, the shown ones first.
    """

    operation_names = {"GET": "practice_focus_read"}
    serializer_class = serializers.PracticeFocusSerializer
    work_out = staticmethod(practice_focus.work_out)
    tell = staticmethod(practice_focus.tell)

    @extend_schema(parameters=EVERY, responses=serializers.PracticeFocusSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()


class NextAttemptView(AskedView):
    """The next attempt of each athlete in a session whom the caller may see: mark, aim, and why.

    Athletes are there once they have an attempt in the session. In a competition the aim follows
    from the attempts left and the best distance so far; elsewhere the plan's aim holds.
    """

    parameters = {"GET": frozenset({"attempts", "cut_m"})}
    operation_names = {"GET": "next_attempt_read"}
    serializer_class = serializers.NextAttemptsSerializer

    @extend_schema(
        parameters=[
            OpenApiParameter(
                "attempts",
                {"type": "integer", "minimum": 1, "maximum": MOST_ATTEMPTS},
                default=MOST_ATTEMPTS,
                description="How many each athlete has in this competition, the cut passed.",
            ),
            _CUT,
            LANGUAGE,
        ],
        responses=serializers.NextAttemptsSerializer,
    )
    def get(self, request: Request, club: str, session_id: UUID) -> HttpResponse:
        attempts = self.whole_number("attempts", least=1, most=MOST_ATTEMPTS, default=MOST_ATTEMPTS)
        cut_m = distance(self, "cut_m")
        session = approach_selectors.get_session(session_id)
        found = next_attempts.read_next_attempts_for(
            self.caller, session, attempts=attempts, cut_m=cut_m, today=self.today
        )
        return self.worded(
            lambda: {
                "session": session_id,
                "kind": session.kind,
                "results": [
                    {"athlete": each.athlete_id, "athlete_code": each.athlete_code}
                    | head_of(each.run_ups)
                    | as_json(each.next_attempt)
                    | as_json(next_attempt.tell(each.next_attempt))
                    for each in found
                ],
            }
        )
