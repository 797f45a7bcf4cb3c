"""What the footfalls of a run-up say: steering, parts, rhythm."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request

from analytics.answers import error_shares, rhythm, steering
from analytics.api import answer_serializers as serializers
from analytics.api.asked import EVERY, AnswerView

MOST_READING_SD_M = 0.1


class SteeringView(AnswerView):
    """Where steering begins, and how much of what is off each step takes back.

    Over the latest attempts, those of earlier plan revisions centred within them. Lists of
    `needed_and_made` begin with the last step, those of `spread` with the take-off foot.
    """

    parameters = {"GET": frozenset({"finish", "last", "reading_sd_m"})}
    operation_names = {"GET": "steering_read"}
    serializer_class = serializers.SteeringSerializer
    work_out = staticmethod(steering.work_out)
    tell = staticmethod(steering.tell)

    @extend_schema(
        parameters=[
            *EVERY,
            OpenApiParameter(
                "reading_sd_m",
                {"type": "number", "minimum": 0, "maximum": MOST_READING_SD_M},
                default=0,
                description=(
                    "SD of the error with which one footfall is read, to correct the gains for it. "
                    "Without it readings are taken as exact, and gains come out a little too high."
                ),
            ),
        ],
        responses=serializers.SteeringSerializer,
    )
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()

    def choices(self) -> Mapping[str, Any]:
        reading_sd_m = self.number("reading_sd_m", least=0, most=MOST_READING_SD_M)
        return {"reading_sd_m": reading_sd_m or 0.0}


class ErrorSharesView(AnswerView):
    """Which part of the run-up makes the error at the board, and which adds the unsteadiness.

    Parts are start, acceleration, transition and attack, in this order in every list. Over the
    latest attempts, each by the plan revision that it was made under.
    """

    operation_names = {"GET": "error_shares_read"}
    serializer_class = serializers.ErrorSharesSerializer
    work_out = staticmethod(error_shares.work_out)
    tell = staticmethod(error_shares.tell)

    @extend_schema(parameters=EVERY, responses=serializers.ErrorSharesSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()


class RhythmView(AnswerView):
    """Lengths, times and contacts of the last three steps; chopped and reaching steps.

    The last three steps over the latest attempts; chopped and reaching steps in those of the latest
    plan revision among them.
    """

    operation_names = {"GET": "rhythm_read"}
    serializer_class = serializers.RhythmSerializer
    work_out = staticmethod(rhythm.work_out)
    tell = staticmethod(rhythm.tell)

    @extend_schema(parameters=EVERY, responses=serializers.RhythmSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()
