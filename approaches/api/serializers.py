"""Approaches, plans, sessions and attempts on the wire."""

import math
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from approaches.models import (
    Attempt,
    ChangeKind,
    Contact,
    Finish,
    GateRun,
    LeftOut,
    MatchedBy,
    Outcome,
    Phase,
    Plan,
    RowKind,
    SessionKind,
    StartStyle,
    Unmatched,
)
from approaches.services.records import DEFAULT_AIM_M
from clubs.models import Event
from common.api import fields
from common.api.serializers import ChangesSerializer, StrictSerializer


class ApproachSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    athlete = serializers.UUIDField(source="athlete_id")
    code = serializers.CharField()
    event = serializers.ChoiceField(Event.choices)
    steps = serializers.IntegerField()
    start_style = serializers.ChoiceField(StartStyle.choices)
    archived_at = serializers.DateTimeField(allow_null=True)
    created_at = serializers.DateTimeField()


class NewApproachSerializer(StrictSerializer):
    athlete = fields.IdField()
    code = fields.TextField(max_length=32)
    event = fields.OneOfField(Event.choices)
    steps = fields.WholeNumberField(min_value=2, max_value=30)
    start_style = fields.OneOfField(StartStyle.choices)


class ApproachChangesSerializer(ChangesSerializer):
    code = fields.TextField(max_length=32)
    event = fields.OneOfField(Event.choices)
    steps = fields.WholeNumberField(min_value=2, max_value=30)
    start_style = fields.OneOfField(StartStyle.choices)
    archived = fields.FlagField()


class CheckMarkSerializer(StrictSerializer):
    footfall = fields.WholeNumberField(min_value=1, max_value=30)
    at_m = fields.NumberField(min_value=0, max_value=80)


class PhaseStartsSerializer(StrictSerializer):
    transition = fields.WholeNumberField(min_value=1, max_value=30, allow_null=True, default=None)
    attack = fields.WholeNumberField(min_value=1, max_value=30, allow_null=True, default=None)


class NewPlanSerializer(StrictSerializer):
    valid_from = fields.MomentField(
        required=False, allow_null=True, default=None, help_text="Now, unless given."
    )
    start_mark_m = fields.NumberField(min_value=2, max_value=80)
    aim_m = fields.NumberField(min_value=0, max_value=0.5, default=DEFAULT_AIM_M)
    check_marks = fields.ListField(child=CheckMarkSerializer(), default=list, max_length=31)
    phase_starts = PhaseStartsSerializer(default=dict)
    toe_m = fields.ListField(
        child=fields.NumberField(min_value=-1, max_value=80),
        default=list,
        max_length=31,
        help_text="Planned footfalls, from the start mark to take-off.",
    )
    last_contacts = fields.ListField(
        child=fields.OneOfField(Contact.choices),
        default=list,
        max_length=3,
        help_text="Contacts of the third-last, the penultimate and the take-off foot.",
    )
    reason = fields.TextField(lines=True, max_length=400, allow_blank=True, default="")


class PlanSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    approach = serializers.UUIDField(source="approach_id")
    revision = serializers.IntegerField()
    valid_from = serializers.DateTimeField()
    start_mark_m = serializers.FloatField()
    aim_m = serializers.FloatField()
    check_marks = CheckMarkSerializer(many=True)
    phase_starts = serializers.SerializerMethodField()
    toe_m = serializers.ListField(child=serializers.FloatField())
    last_contacts = serializers.ListField(child=serializers.CharField())
    reason = serializers.CharField()
    advice = serializers.UUIDField(
        source="advice_id",
        allow_null=True,
        help_text="The recorded advice that it was published from.",
    )
    created_at = serializers.DateTimeField()

    def get_phase_starts(self, plan: Plan) -> dict[str, int | None]:
        return {"transition": plan.transition_footfall, "attack": plan.attack_footfall}


class SessionSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    code = serializers.CharField()
    held_date = serializers.DateField()
    kind = serializers.ChoiceField(SessionKind.choices)
    runway = serializers.UUIDField(source="runway_id", allow_null=True)
    weather = serializers.CharField()
    field_size = serializers.IntegerField(allow_null=True)
    created_at = serializers.DateTimeField()


class NewSessionSerializer(StrictSerializer):
    code = fields.TextField(max_length=40)
    held_date = fields.DayField()
    kind = fields.OneOfField(SessionKind.choices)
    runway = fields.IdField(required=False, allow_null=True, default=None)
    weather = fields.TextField(lines=True, max_length=200, allow_blank=True, default="")
    field_size = fields.WholeNumberField(min_value=1, max_value=200, allow_null=True, default=None)


class SessionChangesSerializer(ChangesSerializer):
    code = fields.TextField(max_length=40)
    held_date = fields.DayField()
    kind = fields.OneOfField(SessionKind.choices)
    runway = fields.IdField(allow_null=True)
    weather = fields.TextField(lines=True, max_length=200, allow_blank=True)
    field_size = fields.WholeNumberField(min_value=1, max_value=200, allow_null=True)


class MeasuredField(serializers.ListField):
    """An array of numbers in which null stands for "not measured"."""

    child = serializers.FloatField(allow_null=True)

    def to_representation(self, data: Any) -> list[Any]:
        return [None if math.isnan(value) else value for value in data]


class FootfallsSerializer(serializers.Serializer[Any]):
    """From the take-off footfall back."""

    toe_m = MeasuredField()
    touchdown_s = MeasuredField()
    toe_off_s = MeasuredField()
    contact = serializers.ListField(child=serializers.ChoiceField(Contact.choices, allow_null=True))


class GatesSerializer(serializers.Serializer[Any]):
    at_m = serializers.ListField(child=serializers.FloatField(), source="gate_at_m")
    time_s = serializers.ListField(child=serializers.FloatField(), source="gate_time_s")


class AttemptSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    source = serializers.UUIDField(  # type: ignore[assignment]  # a field of this name is collected before it hides anything
        source="source_id"
    )
    external_id = serializers.CharField()
    athlete = serializers.UUIDField(source="athlete_id")
    approach = serializers.UUIDField(source="approach_id")
    plan = serializers.UUIDField(source="plan_id", allow_null=True)
    session = serializers.UUIDField(source="session_id")
    started_at = serializers.DateTimeField()
    finish = serializers.ChoiceField(Finish.choices)
    phases = serializers.ListField(child=serializers.ChoiceField(Phase.choices))
    start_mark_m = serializers.FloatField(allow_null=True)
    wind_mps = serializers.FloatField(allow_null=True)
    outcome = serializers.ChoiceField(Outcome.choices)
    take_off_foot_ok = serializers.BooleanField(allow_null=True)
    official_m = serializers.DecimalField(max_digits=4, decimal_places=2, allow_null=True)
    footfalls = serializers.SerializerMethodField()
    gates = serializers.SerializerMethodField()
    left_out = serializers.ChoiceField(
        LeftOut.choices, allow_null=True, help_text="Why the attempt is kept out of its series."
    )
    version = serializers.IntegerField()
    voided_at = serializers.DateTimeField(allow_null=True)

    def get_footfalls(self, attempt: Attempt) -> FootfallsSerializer:
        return FootfallsSerializer(attempt).data  # type: ignore[return-value]  # the schema reads the annotation

    def get_gates(self, attempt: Attempt) -> GatesSerializer:
        return GatesSerializer(attempt).data  # type: ignore[return-value]  # the schema reads the annotation


class AttemptVersionSerializer(serializers.Serializer[Any]):
    version = serializers.IntegerField()
    kind = serializers.ChoiceField(ChangeKind.choices)
    field_names = serializers.ListField(
        child=serializers.CharField(), help_text="What became other than it was."
    )
    reason = serializers.CharField()
    replaced_at = serializers.DateTimeField()
    replaced_by = serializers.UUIDField(help_text="The token or member, as in the audit.")
    former = serializers.DictField(
        help_text="The attempt as this version had it, named and written as in a push."
    )


class RowOutcomeSerializer(serializers.Serializer[Any]):
    index = serializers.IntegerField()
    line = serializers.IntegerField(
        allow_null=True, help_text="Counted from 1, in NDJSON and tables."
    )
    external_id = serializers.CharField()
    code = serializers.CharField(help_text="Which rule; see the page of codes.")
    pointer = serializers.CharField(help_text="JSON pointer into the row.")
    detail = serializers.CharField()
    send_again_helps = serializers.BooleanField(
        help_text="Whether the same row can be stored once the club has what it names."
    )


class RecordOutcomeSerializer(serializers.Serializer[Any]):
    received = serializers.IntegerField()
    created = serializers.IntegerField()
    known = serializers.IntegerField()
    conflicts = serializers.IntegerField()
    rejected = serializers.IntegerField()
    complete = serializers.BooleanField()
    rows = RowOutcomeSerializer(many=True)
    rows_omitted = serializers.IntegerField()


class RowResultSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField(
        source="attempt_id", allow_null=True, help_text="Null after a dry run."
    )
    external_id = serializers.CharField()
    created = serializers.BooleanField(help_text="False when it was stored before.")


class SuggestionSerializer(serializers.Serializer[Any]):
    attempt = serializers.UUIDField(source="attempt_id")
    external_id = serializers.CharField()
    athlete = serializers.UUIDField(source="athlete_id")
    started_at = serializers.DateTimeField()
    seconds_apart = serializers.FloatField(help_text="Positive when the attempt started later.")
    is_named = serializers.BooleanField(help_text="Whether the gate run names it.")
    has_gates = serializers.BooleanField(help_text="Whether it has gates, which stay as they are.")


class GateRunSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    source = serializers.UUIDField(  # type: ignore[assignment]  # a field of this name is collected before it hides anything
        source="source_id"
    )
    external_id = serializers.CharField()
    athlete = serializers.UUIDField(source="athlete_id", allow_null=True)
    attempt_external_id = serializers.CharField(help_text="The attempt that the run names.")
    started_at = serializers.DateTimeField()
    at_m = serializers.ListField(child=serializers.FloatField())
    time_s = serializers.ListField(child=serializers.FloatField())
    attempt = serializers.UUIDField(
        source="attempt_id", allow_null=True, help_text="The attempt whose gates it filled."
    )
    matched_by = serializers.ChoiceField(MatchedBy.choices, allow_null=True)
    matched_at = serializers.DateTimeField(allow_null=True)
    unmatched_because = serializers.CharField(
        allow_null=True,
        help_text=f"One of {', '.join(Unmatched.values)}, or the code of the rule of an attempt "
        "that the gates would break; as of the last look.",
    )
    suggestions = serializers.SerializerMethodField(
        help_text="Attempts near an unmatched run, the named one first, then by time."
    )

    @extend_schema_field(SuggestionSerializer(many=True))
    def get_suggestions(self, run: GateRun) -> Any:
        suggested = self.context["suggested"].get(run.id, [])
        return SuggestionSerializer(suggested, many=True).data


class GateRunResultSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField(source="run_id", allow_null=True, help_text="Null after a dry run.")
    external_id = serializers.CharField()
    created = serializers.BooleanField(help_text="False when it was stored before.")
    attempt = serializers.UUIDField(source="attempt_id", allow_null=True)
    unmatched_because = serializers.CharField(allow_null=True)


class MatchSerializer(StrictSerializer):
    attempt = fields.IdField()


class QuarantinedRowSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    source = serializers.UUIDField(  # type: ignore[assignment]  # a field of this name is collected before it hides anything
        source="source_id"
    )
    kind = serializers.ChoiceField(RowKind.choices)
    external_id = serializers.CharField()
    raw = serializers.CharField(help_text="The row as it was sent.")
    code = serializers.CharField()
    pointer = serializers.CharField()
    detail = serializers.CharField()
    received_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()
    replayed_at = serializers.DateTimeField(
        allow_null=True, help_text="When it was stored after all."
    )


class ReplayedSerializer(serializers.Serializer[Any]):
    kind = serializers.ChoiceField(RowKind.choices)
    id = serializers.UUIDField(help_text="Of the attempt or the gate run.")
    external_id = serializers.CharField()
    created = serializers.BooleanField(help_text="False when it was stored before.")


class ReplaySerializer(StrictSerializer):
    row = serializers.DictField(
        required=False, help_text="The mended row; without it the row is pushed as it was."
    )
