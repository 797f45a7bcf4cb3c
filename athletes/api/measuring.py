"""What is measured of an athlete: height, legs, sprints."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from athletes import selectors
from athletes.api import filters, serializers
from athletes.api.views import AthleteView
from athletes.services import measuring, sprints
from clubs.api import permissions
from clubs.api.base import CHANGE_PROBLEMS, ClubList
from common.api.preconditions import expected_version
from common.api.schema import IDEMPOTENCY_KEY, IF_MATCH
from common.club_scope import club_scope


class MeasurementList(AthleteView, ClubList):
    """Height and leg length of an athlete, day by day."""

    rights = {"GET": permissions.READ_ATHLETES, "POST": permissions.MEASURE_ATHLETES}
    operation_names = {"GET": "measurements_list", "POST": "measurements_create"}
    problems = {"POST": {"409": "The athlete was measured on this day already."}}
    serializer_class = serializers.MeasurementSerializer
    filterset_class = filters.MeasurementFilter

    def rows(self) -> QuerySet[Any]:
        return selectors.list_measurements(self.get_athlete())

    @extend_schema(responses=serializers.MeasurementSerializer(many=True))
    def get(self, request: Request, club: str, athlete_id: UUID) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewMeasurementSerializer,
        responses={201: serializers.MeasurementSerializer},
        examples=[
            OpenApiExample(
                "In spring",
                value={"measured_date": "2026-04-11", "height_m": 1.684, "leg_length_m": 0.82},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str, athlete_id: UUID) -> Response:
        body = serializers.NewMeasurementSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        with club_scope(self.caller.club):
            measurement = measuring.add_measurement(
                club=self.caller.club,
                athlete=self.get_athlete(),
                caller=self.caller,
                **body.validated_data,
            )
        return self.created(
            measurement, route="measurement", athlete_id=athlete_id, measurement_id=measurement.id
        )


class MeasurementDetail(AthleteView):
    """What was measured on one day."""

    rights = {"GET": permissions.READ_ATHLETES, "PATCH": permissions.MEASURE_ATHLETES}
    operation_names = {"GET": "measurements_read", "PATCH": "measurements_change"}
    problems = {"PATCH": {**CHANGE_PROBLEMS, "409": "The athlete was measured on this day."}}
    serializer_class = serializers.MeasurementSerializer

    def get(self, request: Request, club: str, athlete_id: UUID, measurement_id: UUID) -> Response:
        return self.kept(selectors.get_measurement(self.get_athlete(), measurement_id))

    @extend_schema(
        request=serializers.MeasurementChangesSerializer,
        responses=serializers.MeasurementSerializer,
        parameters=[IF_MATCH],
        examples=[OpenApiExample("Read wrongly", value={"height_m": 1.648}, request_only=True)],
    )
    def patch(
        self, request: Request, club: str, athlete_id: UUID, measurement_id: UUID
    ) -> Response:
        expected = expected_version(request)
        changes = self.changes(serializers.MeasurementChangesSerializer)
        with club_scope(self.caller.club):
            measurement = measuring.change_measurement(
                club=self.caller.club,
                athlete=self.get_athlete(),
                measurement_id=measurement_id,
                expected=expected,
                changes=changes,
                caller=self.caller,
            )
        return self.kept(measurement)


class SprintTestList(AthleteView, ClubList):
    """Sprints with split times."""

    rights = {"GET": permissions.READ_ATHLETES, "POST": permissions.MEASURE_ATHLETES}
    operation_names = {"GET": "sprint_tests_list", "POST": "sprint_tests_create"}
    problems = {
        "POST": {
            "409": "The same request is being answered at this moment.",
            "422": "The key was used for another request.",
        }
    }
    serializer_class = serializers.SprintTestSerializer
    filterset_class = filters.SprintTestFilter

    def rows(self) -> QuerySet[Any]:
        return selectors.list_sprint_tests(self.get_athlete())

    @extend_schema(responses=serializers.SprintTestSerializer(many=True))
    def get(self, request: Request, club: str, athlete_id: UUID) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewSprintTestSerializer,
        responses={201: serializers.SprintTestSerializer},
        parameters=[IDEMPOTENCY_KEY],
        description=(
            "Split times of one sprint. Several sprints of a day are several tests, so name each "
            "write by an `Idempotency-Key`. A sprint at full speed wants a warm, healthy athlete: "
            "the coach on the spot decides."
        ),
        examples=[
            OpenApiExample(
                "Thirty metres",
                value={
                    "tested_date": "2026-04-11",
                    "start": "standing",
                    "splits": [
                        {"at_m": 10.0, "time_s": 2.01},
                        {"at_m": 20.0, "time_s": 3.27},
                        {"at_m": 30.0, "time_s": 4.44},
                    ],
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str, athlete_id: UUID) -> Response:
        body = serializers.NewSprintTestSerializer(data=request.data)
        body.is_valid(raise_exception=True)

        def store() -> Response:
            with club_scope(self.caller.club):
                test = sprints.add_sprint_test(
                    club=self.caller.club,
                    athlete=self.get_athlete(),
                    caller=self.caller,
                    **body.validated_data,
                )
            return self.created(
                test, route="sprint-test", athlete_id=athlete_id, sprint_test_id=test.id
            )

        return self.once(store, check=self.get_athlete)


class SprintTestDetail(AthleteView):
    """One sprint."""

    rights = {"GET": permissions.READ_ATHLETES, "PATCH": permissions.MEASURE_ATHLETES}
    operation_names = {"GET": "sprint_tests_read", "PATCH": "sprint_tests_change"}
    problems = {"PATCH": CHANGE_PROBLEMS}
    serializer_class = serializers.SprintTestSerializer

    def get(self, request: Request, club: str, athlete_id: UUID, sprint_test_id: UUID) -> Response:
        return self.kept(selectors.get_sprint_test(self.get_athlete(), sprint_test_id))

    @extend_schema(
        request=serializers.SprintTestChangesSerializer,
        responses=serializers.SprintTestSerializer,
        parameters=[IF_MATCH],
        examples=[OpenApiExample("From blocks", value={"start": "block"}, request_only=True)],
    )
    def patch(
        self, request: Request, club: str, athlete_id: UUID, sprint_test_id: UUID
    ) -> Response:
        expected = expected_version(request)
        changes = self.changes(serializers.SprintTestChangesSerializer)
        with club_scope(self.caller.club):
            test = sprints.change_sprint_test(
                club=self.caller.club,
                athlete=self.get_athlete(),
                sprint_test_id=sprint_test_id,
                expected=expected,
                changes=changes,
                caller=self.caller,
            )
        return self.kept(test)
