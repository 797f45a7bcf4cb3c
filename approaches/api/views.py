"""Approaches, plans, sessions and attempts."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http.response import HttpResponseBase
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from approaches import selectors
from approaches.api import filters, pushing, reading, serializers
from approaches.models import Approach
from approaches.services import records, sessions
from athletes import selectors as athlete_selectors
from clubs import selectors as club_selectors
from clubs.api import permissions
from clubs.api.base import CHANGE_PROBLEMS, ClubList, ClubView
from common.api.preconditions import etag_of, expected_version
from common.api.schema import IDEMPOTENCY_KEY, IF_MATCH
from common.club_scope import club_scope
from common.errors import NotFoundError


class ApproachList(ClubList):
    """Run-ups of the athletes that the caller may see."""

    rights = {"GET": permissions.READ_PLANS, "POST": permissions.WRITE_PLANS}
    operation_names = {"GET": "approaches_list", "POST": "approaches_create"}
    problems = {"POST": {"409": "The athlete has an approach with this code."}}
    serializer_class = serializers.ApproachSerializer
    filterset_class = filters.ApproachFilter

    def rows(self) -> QuerySet[Any]:
        return selectors.list_approaches_for(self.caller, today=self.today)

    @extend_schema(responses=serializers.ApproachSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewApproachSerializer,
        responses={201: serializers.ApproachSerializer},
        examples=[
            OpenApiExample(
                "Twelve steps",
                value={
                    "athlete": "019a0000-0000-7000-8000-000000000017",
                    "code": "LJ-12",
                    "event": "long_jump",
                    "steps": 12,
                    "start_style": "standing",
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str) -> Response:
        body = serializers.NewApproachSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        fields = dict(body.validated_data)
        with club_scope(self.caller.club):
            athlete = athlete_selectors.get_athlete_for(
                self.caller, fields.pop("athlete"), today=self.today
            )
            approach = records.add_approach(
                club=self.caller.club, athlete=athlete, caller=self.caller, **fields
            )
        return self.created(approach, route="approach", approach_id=approach.id)


class ApproachView(ClubView):
    """A view of one approach that the caller may see."""

    def get_approach(self) -> Approach:
        return selectors.get_approach_for(self.caller, self.kwargs["approach_id"], today=self.today)


class ApproachDetail(ApproachView):
    """One run-up. Event, steps and start can change while there is no plan and no attempt."""

    rights = {"GET": permissions.READ_PLANS, "PATCH": permissions.WRITE_PLANS}
    operation_names = {"GET": "approaches_read", "PATCH": "approaches_change"}
    problems = {
        "PATCH": {
            **CHANGE_PROBLEMS,
            "409": "The athlete has an approach with this code, or plans or attempts were made.",
        }
    }
    serializer_class = serializers.ApproachSerializer

    def get(self, request: Request, club: str, approach_id: UUID) -> Response:
        return self.kept(self.get_approach())

    @extend_schema(
        request=serializers.ApproachChangesSerializer,
        responses=serializers.ApproachSerializer,
        parameters=[IF_MATCH],
        examples=[
            OpenApiExample("Kept, and out of the way", value={"archived": True}, request_only=True)
        ],
    )
    def patch(self, request: Request, club: str, approach_id: UUID) -> Response:
        expected = expected_version(request)
        changes = self.changes(serializers.ApproachChangesSerializer)
        with club_scope(self.caller.club):
            approach = records.change_approach(
                club=self.caller.club,
                approach_id=self.get_approach().id,
                expected=expected,
                changes=changes,
                caller=self.caller,
            )
        return self.kept(approach)


class PlanList(ApproachView, ClubList):
    """Every revision of a run-up's plan. A change is a new revision.

    The ETag begins with the number of the latest revision, 0 before the first; a new one is made
    from that.
    """

    rights = {"GET": permissions.READ_PLANS, "POST": permissions.WRITE_PLANS}
    operation_names = {"GET": "plans_list", "POST": "plans_create"}
    problems = {
        "POST": {
            **CHANGE_PROBLEMS,
            "409": "The revision would start no later than the latest one.",
            "422": "The key was used for another request.",
        }
    }
    serializer_class = serializers.PlanSerializer

    def rows(self) -> QuerySet[Any]:
        return selectors.list_plans(self.get_approach())

    @extend_schema(responses=serializers.PlanSerializer(many=True))
    def get(self, request: Request, club: str, approach_id: UUID) -> Response:
        response = self.listed()
        latest = selectors.find_latest_plan(self.get_approach())
        response["ETag"] = etag_of(0 if latest is None else latest.revision)
        return response

    @extend_schema(
        request=serializers.NewPlanSerializer,
        parameters=[IF_MATCH, IDEMPOTENCY_KEY],
        responses={201: serializers.PlanSerializer},
        examples=[
            OpenApiExample(
                "Moved back by ten centimetres",
                value={
                    "start_mark_m": 34.30,
                    "aim_m": 0.06,
                    "check_marks": [{"footfall": 6, "at_m": 13.1}],
                    "phase_starts": {"transition": 10, "attack": 4},
                    "last_contacts": ["ball", "flat", "flat"],
                    "reason": "Landed ten centimetres short in the last three sessions.",
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str, approach_id: UUID) -> Response:
        expected = expected_version(request)
        body = serializers.NewPlanSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        fields = dict(body.validated_data)
        phase_starts = fields.pop("phase_starts")
        valid_from, reason = fields.pop("valid_from"), fields.pop("reason")
        marks = records.Marks(
            transition_footfall=phase_starts.get("transition"),
            attack_footfall=phase_starts.get("attack"),
            **fields,
        )

        def make() -> Response:
            with club_scope(self.caller.club):
                plan = records.add_plan(
                    club=self.caller.club,
                    approach_id=self.get_approach().id,
                    marks=marks,
                    valid_from=valid_from,
                    reason=reason,
                    expected=expected,
                    caller=self.caller,
                )
            return self.created(plan, route="plan", approach_id=approach_id, plan_id=plan.id)

        return self.once(make, check=self.get_approach)


class PlanDetail(ApproachView):
    """One revision. It never changes: a change is a new one."""

    rights = {"GET": permissions.READ_PLANS}
    operation_names = {"GET": "plans_read"}
    serializer_class = serializers.PlanSerializer

    def get(self, request: Request, club: str, approach_id: UUID, plan_id: UUID) -> Response:
        return self.kept(selectors.get_plan(self.get_approach(), plan_id))


class CurrentPlan(ApproachView):
    """The revision that is valid now; one that was made ahead of its day begins at `valid_from`."""

    rights = {"GET": permissions.READ_PLANS}
    operation_names = {"GET": "plans_read_current"}
    serializer_class = serializers.PlanSerializer

    def get(self, request: Request, club: str, approach_id: UUID) -> Response:
        plan = selectors.find_plan_at(self.get_approach(), timezone.now())
        if plan is None:
            raise NotFoundError("This approach has no plan yet.")
        return self.kept(plan)


class SessionList(ClubList):
    """Training, testing and competition days."""

    rights = {"GET": permissions.READ_PLANS, "POST": permissions.WRITE_PLANS}
    operation_names = {"GET": "sessions_list", "POST": "sessions_create"}
    problems = {"POST": {"409": "The club has a session with this code."}}
    serializer_class = serializers.SessionSerializer
    filterset_class = filters.SessionFilter

    def rows(self) -> QuerySet[Any]:
        return selectors.list_sessions()

    @extend_schema(responses=serializers.SessionSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewSessionSerializer,
        responses={201: serializers.SessionSerializer},
        examples=[
            OpenApiExample(
                "A training",
                value={"code": "2026-05-03-am", "held_date": "2026-05-03", "kind": "training"},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str) -> Response:
        body = serializers.NewSessionSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        fields = dict(body.validated_data)
        runway_id = fields.pop("runway")
        with club_scope(self.caller.club):
            session = sessions.add_session(
                club=self.caller.club,
                runway=None if runway_id is None else club_selectors.get_runway(runway_id),
                caller=self.caller,
                **fields,
            )
        return self.created(session, route="session", session_id=session.id)


class SessionDetail(ClubView):
    """One session. Figures follow when attempts started: no change of a session changes them."""

    rights = {"GET": permissions.READ_PLANS, "PATCH": permissions.WRITE_PLANS}
    operation_names = {"GET": "sessions_read", "PATCH": "sessions_change"}
    problems = {"PATCH": {**CHANGE_PROBLEMS, "409": "The club has a session with this code."}}
    serializer_class = serializers.SessionSerializer

    def get(self, request: Request, club: str, session_id: UUID) -> Response:
        return self.kept(selectors.get_session(session_id))

    @extend_schema(
        request=serializers.SessionChangesSerializer,
        responses=serializers.SessionSerializer,
        parameters=[IF_MATCH],
        examples=[
            OpenApiExample(
                "It was a competition",
                value={"kind": "competition", "field_size": 11, "weather": "Rain from noon on."},
                request_only=True,
            )
        ],
    )
    def patch(self, request: Request, club: str, session_id: UUID) -> Response:
        expected = expected_version(request)
        changes = self.changes(serializers.SessionChangesSerializer)
        with club_scope(self.caller.club):
            if changes.get("runway") is not None:
                changes["runway"] = club_selectors.get_runway(changes["runway"])
            session = sessions.change_session(
                club=self.caller.club,
                session_id=session_id,
                expected=expected,
                changes=changes,
                caller=self.caller,
            )
        return self.kept(session)


class SessionAttemptList(pushing.PushView, reading.AttemptLister):
    """The attempts of one session that the caller may see, and the door for one typed in."""

    rights = {"GET": permissions.READ_ATTEMPTS, "POST": permissions.ATTEMPTS_BY_HAND}
    parameters = {"POST": frozenset({"dry_run"})}
    operation_names = {"GET": "session_attempts_list", "POST": "session_attempts_type_in"}
    problems = {"POST": pushing.PROBLEMS_OF_TYPED}
    serializer_class = serializers.AttemptSerializer

    def rows(self) -> QuerySet[Any]:
        session = selectors.get_session(self.kwargs["session_id"])
        attempts = selectors.list_attempts_for(self.caller, today=self.today)
        return attempts.filter(session=session)

    @reading.list_schema
    def get(self, request: Request, club: str, session_id: UUID) -> HttpResponseBase:
        return self.answered()

    @pushing.typed_schema
    def post(self, request: Request, club: str, session_id: UUID) -> Response:
        return self.type_in(session_id)


class AttemptList(pushing.PushView, reading.AttemptLister):
    """Attempts that the caller may see, and the door for one more."""

    rights = {"GET": permissions.READ_ATTEMPTS, "POST": permissions.PUSH_ATTEMPTS}
    parameters = {"POST": frozenset({"dry_run", "make_sessions"})}
    operation_names = {"GET": "attempts_list", "POST": "attempts_push_one"}
    problems = {"POST": pushing.PROBLEMS_OF_ONE}
    serializer_class = serializers.AttemptSerializer
    filterset_class = filters.AttemptFilter

    def rows(self) -> QuerySet[Any]:
        return selectors.list_attempts_for(self.caller, today=self.today)

    @reading.list_schema
    def get(self, request: Request, club: str) -> HttpResponseBase:
        return self.answered()

    @pushing.one_schema
    def post(self, request: Request, club: str) -> Response:
        return self.push_one()


class AttemptDetail(ClubView):
    """One attempt."""

    rights = {"GET": permissions.READ_ATTEMPTS}
    operation_names = {"GET": "attempts_read"}
    serializer_class = serializers.AttemptSerializer

    def get(self, request: Request, club: str, attempt_id: UUID) -> Response:
        return self.kept(selectors.get_attempt_for(self.caller, attempt_id, today=self.today))


class AttemptBatch(pushing.PushView):
    """The door for many attempts at once."""

    rights = {"POST": permissions.PUSH_ATTEMPTS}
    parameters = {"POST": frozenset({"dry_run", "all_or_nothing", "make_sessions"})}
    operation_names = {"POST": "attempts_push_batch"}
    problems = {"POST": pushing.PROBLEMS_OF_BATCH}
    serializer_class = serializers.RecordOutcomeSerializer

    @pushing.batch_schema
    def post(self, request: Request, club: str) -> Response:
        return self.push_batch()


class QuarantineList(ClubList):
    """Refused rows that wait for 30 days, as they were sent."""

    rights = {"GET": permissions.READ_QUARANTINE}
    operation_names = {"GET": "quarantine_list"}
    serializer_class = serializers.QuarantinedRowSerializer
    filterset_class = filters.QuarantineFilter

    def rows(self) -> QuerySet[Any]:
        return selectors.list_waiting_for(self.caller)

    @extend_schema(responses=serializers.QuarantinedRowSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        return self.listed()


class QuarantineDetail(ClubView):
    """One refused row, replayed or not, until its 30 days are over."""

    rights = {"GET": permissions.READ_QUARANTINE}
    operation_names = {"GET": "quarantine_read"}
    serializer_class = serializers.QuarantinedRowSerializer

    def get(self, request: Request, club: str, row_id: UUID) -> Response:
        row = selectors.get_quarantined_for(self.caller, row_id)
        return Response(serializers.QuarantinedRowSerializer(row).data)


class QuarantineReplay(pushing.PushView):
    """Push a refused row again, as it was or mended."""

    rights = {"POST": permissions.READ_QUARANTINE}
    operation_names = {"POST": "quarantine_replay"}
    problems = {"POST": pushing.PROBLEMS_OF_ONE}
    serializer_class = serializers.ReplaySerializer

    @pushing.replay_schema
    def post(self, request: Request, club: str, row_id: UUID) -> Response:
        return self.replay(row_id)
