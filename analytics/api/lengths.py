"""More steps, fewer, or as many: advice, and what numbers of steps brought so far."""

from collections.abc import Hashable, Mapping
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from analytics import selectors
from analytics.answers import length_advice, length_study
from analytics.answers.remembered import memory
from analytics.api import length_serializers as serializers
from analytics.api.asked import LANGUAGE, MOST_LAST, AnswerView, AskedView
from analytics.selectors import LengthAttempts
from analytics.services.figures import as_json
from analytics.services.method import METHOD

# A curve over a whole year of jumps.
MOST_STUDIED = 400


class LengthAdviceView(AnswerView):
    """Is the athlete ready for a pair of steps more, not yet, undecided, or better with fewer?

    From jumps of sessions that are over; two sessions running must say the same. Every condition
    comes with its number.
    """

    parameters = {"GET": frozenset()}
    operation_names = {"GET": "length_advice_read"}
    serializer_class = serializers.LengthAdviceAnswerSerializer
    work_out = staticmethod(length_advice.work_out)
    tell = staticmethod(length_advice.tell)
    # 40 known ones each are looked at up to the last session and up to the one before it.
    looks_at = MOST_LAST

    @extend_schema(parameters=[LANGUAGE], responses=serializers.LengthAdviceAnswerSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()

    def choices(self) -> Mapping[str, Any]:
        body = selectors.read_body_for(self.caller, self.kwargs["approach_id"], today=self.today)
        return {"body": body}


class LengthStudyView(AskedView):
    """What more steps brought in speed and distance, and what a pair more would bring.

    From full jumps of the athlete from all run-ups of this event and start style, compared within
    sessions.
    """

    operation_names = {"GET": "length_study_read"}
    serializer_class = serializers.LengthStudyAnswerSerializer

    @extend_schema(parameters=[LANGUAGE], responses=serializers.LengthStudyAnswerSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()

    def find(self) -> tuple[LengthAttempts, length_study.Lengths, Hashable]:
        """Return the attempts, what was found in them, and a key that both follow from."""
        attempts = selectors.read_lengths_for(
            self.caller, self.kwargs["approach_id"], last=MOST_STUDIED, today=self.today
        )
        key = (length_study.__name__, attempts.key)
        return attempts, memory.recall(key, lambda: length_study.work_out(attempts)), key

    def answered(self) -> HttpResponse:
        """Answer from the attempts that are stored at this moment."""
        attempts, found, _ = self.find()
        return self.worded(
            lambda: (
                {
                    "approach": attempts.approach_id,
                    "as_of": max(attempts.changed_at, default=None),
                    "through_attempt": attempts.ids[-1] if attempts.ids else None,
                    "n": len(attempts),
                    "n_sessions": len(set(attempts.session_ids)),
                    "stale": False,
                    "method": METHOD,
                }
                | as_json(found)
                | as_json(length_study.tell(found))
            )
        )
