"""Runs through timing gates: pushed, listed with attempts that may be theirs, matched by hand."""

import json
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from approaches import selectors
from approaches.api import filters, pushing, serializers
from approaches.api.pushing import CSV, JSON, NDJSON
from approaches.models import GateRun
from approaches.services import (
    batches,
    changes,
    forms,
    gate_runs,
    gate_times,
    hand_matching,
    limits,
)
from clubs.api import permissions
from clubs.api.base import ClubList, ClubView

EXAMPLE = {
    "external_id": "gates-000123",
    "athlete": "ext:A-17",
    "started_at": "2026-05-02T09:14:09.100+02:00",
    "at_m": [31, 11, 6, 1],
    "time_s": [1.052, 4.154, 4.700, 5.241],
}
EXAMPLE_TABLE = (
    "external_id,athlete,started_at,at_m_0,at_m_1,at_m_2,time_s_0,time_s_1,time_s_2\n"
    "gates-000124,ext:A-17,2026-05-02T09:21:40+02:00,11,6,1,4.161,4.709,5.248\n"
)
_MATCHED = {"409": "The run or the attempt has its match already, or the attempt was voided."}


def _example(name: str, value: Any, media_type: str = JSON) -> OpenApiExample:
    return OpenApiExample(name, value=value, request_only=True, media_type=media_type)


class GateRunView(ClubView):
    """What the views of gate runs share."""

    serializer_class = serializers.GateRunSerializer

    def shown(self, runs: list[GateRun]) -> Any:
        """Return gate runs as they are answered, each with attempts that may be its own."""
        suggested = selectors.suggest_attempts(runs, caller=self.caller, today=self.today)
        context = {"suggested": suggested}
        return serializers.GateRunSerializer(runs, many=True, context=context).data

    def answer(self, run: GateRun) -> Response:
        return Response(self.shown([run])[0])


class GateRunList(GateRunView, pushing.PushView, ClubList):
    """Gate runs of the athletes that the caller may see, and the door for one more."""

    rights = {"GET": permissions.READ_ATTEMPTS, "POST": permissions.PUSH_GATES}
    parameters = {"POST": frozenset({"dry_run"})}
    operation_names = {"GET": "gate_runs_list", "POST": "gate_runs_push_one"}
    problems = {"POST": pushing.PROBLEMS_OF_ONE}
    filterset_class = filters.GateRunFilter

    def rows(self) -> QuerySet[Any]:
        return selectors.list_gate_runs_for(self.caller, today=self.today)

    @extend_schema(responses=serializers.GateRunSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response(self.shown(list(page or [])))

    @extend_schema(
        request=gate_times.GateTimes,
        responses={
            201: serializers.GateRunResultSerializer,
            200: serializers.GateRunResultSerializer,
        },
        parameters=[pushing.DRY_RUN],
        examples=[_example("A run past four gates", EXAMPLE)],
    )
    def post(self, request: Request, club: str) -> Response:
        self.media_type_among(JSON)
        result = gate_runs.record_gate_run(
            club=self.caller.club,
            source_id=self.source_id(),
            row=batches.read_one(self.body(limits.MAX_ROW_BYTES), gate_times.GATE_RUNS),
            caller=self.caller,
            athletes=self.athletes(),
            dry_run=self.flag("dry_run"),
        )
        status = 201 if result.created and result.run_id is not None else 200
        return Response(serializers.GateRunResultSerializer(result).data, status=status)


class GateRunBatch(pushing.PushView):
    """The door for many gate runs at once."""

    rights = {"POST": permissions.PUSH_GATES}
    parameters = {"POST": frozenset({"dry_run", "all_or_nothing"})}
    operation_names = {"POST": "gate_runs_push_batch"}
    problems = {"POST": pushing.PROBLEMS_OF_BATCH}
    serializer_class = serializers.RecordOutcomeSerializer

    @extend_schema(
        request={
            JSON: {"type": "array", "items": {"$ref": "#/components/schemas/GateTimesRequest"}},
            NDJSON: OpenApiTypes.STR,
            CSV: OpenApiTypes.STR,
        },
        responses={200: serializers.RecordOutcomeSerializer},
        parameters=[pushing.DRY_RUN, pushing.ALL_OR_NOTHING],
        examples=[
            _example("One run", [EXAMPLE]),
            _example("One run a line", json.dumps(EXAMPLE) + "\n", NDJSON),
            _example("A table", EXAMPLE_TABLE, CSV),
        ],
    )
    def post(self, request: Request, club: str) -> Response:
        outcome = gate_runs.record_gate_runs(
            club=self.caller.club,
            source_id=self.source_id(),
            rows=self.read_rows(gate_times.GATE_RUNS),
            caller=self.caller,
            athletes=self.athletes(),
            dry_run=self.flag("dry_run"),
            all_or_nothing=self.flag("all_or_nothing"),
        )
        return Response(pushing.batch_answer(outcome))


class GateRunDetail(GateRunView):
    """One gate run."""

    rights = {"GET": permissions.READ_ATTEMPTS}
    operation_names = {"GET": "gate_runs_read"}

    def get(self, request: Request, club: str, gate_run_id: UUID) -> Response:
        return self.answer(selectors.get_gate_run_for(self.caller, gate_run_id, today=self.today))


class GateRunMatch(GateRunView):
    """Say whose gates these are."""

    rights = {"POST": permissions.MATCH_GATES}
    operation_names = {"POST": "gate_runs_match"}
    problems = {
        "POST": {**_MATCHED, "422": "With these gates the attempt would break a rule."},
    }

    @extend_schema(
        request=serializers.MatchSerializer,
        responses=serializers.GateRunSerializer,
        examples=[
            _example("The attempt", {"attempt": "019a0000-0000-7000-8000-000000000123"}),
        ],
    )
    def post(self, request: Request, club: str, gate_run_id: UUID) -> Response:
        body = serializers.MatchSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        run = hand_matching.match_by_hand(
            club=self.caller.club,
            run_id=gate_run_id,
            attempt_id=body.validated_data["attempt"],
            caller=self.caller,
        )
        return self.answer(run)


class GateRunUnmatch(GateRunView):
    """Part a gate run from an attempt that is not its own."""

    rights = {"POST": permissions.MATCH_GATES}
    operation_names = {"POST": "gate_runs_unmatch"}
    problems = {"POST": {"409": "The run belongs to no attempt."}}

    @extend_schema(
        request=changes.Reasoned,
        responses=serializers.GateRunSerializer,
        examples=[_example("Another athlete", {"reason": "It was the next athlete's run."})],
    )
    def post(self, request: Request, club: str, gate_run_id: UUID) -> Response:
        sent = forms.read_form(request.data, changes.Reasoned)
        run = hand_matching.unmatch(
            club=self.caller.club, run_id=gate_run_id, reason=sent.reason, caller=self.caller
        )
        return self.answer(run)
