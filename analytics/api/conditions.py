"""How fast the last metres are, and what the wind does."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request

from analytics.answers import speed, wind_table
from analytics.api import condition_serializers as serializers
from analytics.api.asked import EVERY, AnswerView

MOST_GUST_SD_MPS = 5


class SpeedView(AnswerView):
    """Speed from 11 to 6 m and from 6 to 1 m before the line, and what is gained or lost between.

    From timing gates near these places. A gate within 5 cm counts with its true place; a time
    between gates at most 5.5 m apart is interpolated, and said to be.
    """

    operation_names = {"GET": "speed_read"}
    serializer_class = serializers.SpeedAnswerSerializer
    work_out = staticmethod(speed.work_out)
    tell = staticmethod(speed.tell)

    @extend_schema(parameters=EVERY, responses=serializers.SpeedAnswerSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()


class WindTableView(AnswerView):
    """How far all marks move for each wind from -3 to +4 m/s along the runway.

    The athlete's own where attempts with a wind reading tell it; else what is usual, and said so.
    """

    parameters = {"GET": frozenset({"finish", "last", "gust_sd_mps"})}
    operation_names = {"GET": "wind_table_read"}
    serializer_class = serializers.WindTableAnswerSerializer
    work_out = staticmethod(wind_table.work_out)
    tell = staticmethod(wind_table.tell)

    @extend_schema(
        parameters=[
            *EVERY,
            OpenApiParameter(
                "gust_sd_mps",
                {"type": "number", "minimum": 0, "maximum": MOST_GUST_SD_MPS},
                default=0,
                description="SD of the wind about its reading where the table is to hold.",
            ),
        ],
        responses=serializers.WindTableAnswerSerializer,
    )
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        return self.answered()

    def choices(self) -> Mapping[str, Any]:
        gust_sd_mps = self.number("gust_sd_mps", least=0, most=MOST_GUST_SD_MPS)
        return {"gust_sd_mps": gust_sd_mps or 0.0}
