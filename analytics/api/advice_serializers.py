"""Advice that was decided on, on the wire."""

from collections.abc import Mapping
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema_field
from rest_framework import serializers

from analytics.answers import looking_back, practice_focus
from analytics.answers.looking_back import Afterwards
from analytics.api.answer_serializers import ReasonSerializer
from analytics.api.serializers import IntervalSerializer, figure
from analytics.core.after_advice import MarkAfter, Verdict
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.length_advice import LengthAnswer
from analytics.core.mark_advice import MarkAnswer
from analytics.models import Advice, AdviceDecision, AdviceKind
from analytics.services.figures import as_json
from approaches.models import FinishClass
from common.api import fields
from common.api.serializers import StrictSerializer

IF_MATCH_TO_PUBLISH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    description="To publish: the ETag of `plans/`, whose latest revision the new one is made from.",
)


class DecisionSerializer(StrictSerializer):
    """The advice as it was read, and what was done about it."""

    kind = fields.OneOfField(AdviceKind.choices)
    finish = fields.OneOfField(FinishClass.choices, default=FinishClass.JUMP)
    through_attempt = fields.IdField(help_text="`through_attempt` of the advice that was read.")
    answer = fields.OneOfField(
        [
            (each, each)
            for each in dict.fromkeys(
                (
                    *(each.value for each in MarkAnswer),
                    *practice_focus.ANSWERS,
                    *(each.value for each in LengthAnswer),
                )
            )
        ],
        help_text="Its answer: `advice.answer` of the mark and of the length, `first` of practice.",
    )
    start_mark_m = fields.NumberField(
        min_value=2,
        max_value=80,
        allow_null=True,
        default=None,
        help_text="Its start mark, of the mark alone; needed to publish.",
    )
    decision = fields.OneOfField(AdviceDecision.choices)
    reason = fields.TextField(
        lines=True,
        max_length=200,
        allow_blank=True,
        default="",
        help_text="Needed to decline. The athlete may read it.",
    )
    publish = fields.FlagField(
        default=False, help_text="Make the next revision of the plan from the advice."
    )


class SideSerializer(serializers.Serializer[Any]):
    """Errors of the attempts of one side of a decision. Positive: landed short."""

    n = serializers.IntegerField()
    n_measured = serializers.IntegerField()
    n_unmeasured_no_jumps = serializers.IntegerField()
    bias_m = serializers.FloatField()
    bias_interval = IntervalSerializer()
    sd_m = serializers.FloatField()


class AfterwardsSerializer(serializers.Serializer[Any]):
    """What was measured before the advice and since the decision, and what follows from it."""

    verdict = serializers.ChoiceField([(each.value, each.value) for each in Verdict])
    mark = serializers.ChoiceField(
        [(each.value, each.value) for each in MarkAfter],
        allow_null=True,
        help_text="What became of the start mark; null for advice of other kinds.",
    )
    moved_m = serializers.FloatField(
        allow_null=True, help_text="By how much the start mark moved; negative toward the pit."
    )
    footfall = serializers.IntegerField(help_text="0: errors at the board; else at a check mark.")
    before = figure(SideSerializer)
    after = figure(SideSerializer)
    bias_change_m = serializers.FloatField(allow_null=True)
    bias_change_interval = IntervalSerializer(allow_null=True)
    sd_ratio = serializers.FloatField(
        allow_null=True, help_text="Spread after over before, for advice to practise against it."
    )
    sd_ratio_interval = IntervalSerializer(allow_null=True)
    sd_after_interval = IntervalSerializer(
        allow_null=True, help_text="Of the spread since, for advice on the number of steps."
    )
    text = serializers.CharField()


class AdviceSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    approach = serializers.UUIDField(source="approach_id")
    kind = serializers.ChoiceField(AdviceKind.choices)
    finish = serializers.ChoiceField(FinishClass.choices, source="finish_class")
    answer = serializers.CharField()
    figures = serializers.DictField(
        child=serializers.JSONField(), help_text="The numbers as they were given."
    )
    text = serializers.CharField(source="told.text", help_text="As it was told.")
    reasons = ReasonSerializer(many=True, source="told.reasons")
    n = serializers.IntegerField(help_text="Attempts that it was worked out from.")
    through_attempt = serializers.UUIDField(source="through_attempt_id")
    as_of = serializers.DateTimeField()
    method = serializers.IntegerField(help_text="Version of the formulas.")
    plan_revision = serializers.IntegerField(
        source="plan.revision", allow_null=True, default=None, help_text="In force at that time."
    )
    decision = serializers.ChoiceField(AdviceDecision.choices)
    reason = serializers.CharField()
    decided_at = serializers.DateTimeField()
    decided_by = serializers.UUIDField(
        source="decided_by_id", allow_null=True, help_text="The member, as in the audit."
    )
    published_plan = serializers.UUIDField(source="published_plan_id", allow_null=True)
    published_revision = serializers.IntegerField(
        source="published_plan.revision", allow_null=True, default=None
    )
    afterwards = serializers.SerializerMethodField(
        help_text="Null for an answer that claims nothing that attempts could show."
    )

    @extend_schema_field(AfterwardsSerializer(allow_null=True))
    def get_afterwards(self, advice: Advice) -> Any:
        found: Afterwards | None = self.context["afterwards"][advice.id]
        return None if found is None else _afterwards(found)


def _afterwards(found: Afterwards) -> Mapping[str, Any]:
    look = found.look
    sides = {
        name: _side(block, interval)
        for name, block, interval in (
            ("before", found.before, look.bias_before_interval),
            ("after", found.after, look.bias_after_interval),
        )
    }
    return {
        "verdict": look.verdict.value,
        "mark": None if look.mark is None else look.mark.value,
        "moved_m": found.moved_m,
        "footfall": found.footfall,
        **sides,
        "bias_change_m": look.bias_change_m,
        "bias_change_interval": as_json(look.bias_change_interval),
        "sd_ratio": look.sd_ratio,
        "sd_ratio_interval": as_json(look.sd_ratio_interval),
        "sd_after_interval": as_json(look.sd_after_interval),
        "text": looking_back.tell_of(found),
    }


def _side(block: Any, interval: Any) -> Any:
    if isinstance(block, NotEnoughAttempts):
        return as_json(block)
    given = as_json(block)
    kept = ("n", "n_measured", "n_unmeasured_no_jumps", "bias_m", "sd_m")
    return {name: given[name] for name in kept} | {"bias_interval": as_json(interval)}


class TallySerializer(serializers.Serializer[Any]):
    """How often advice of one kind was right, by what was decided."""

    kind = serializers.ChoiceField(AdviceKind.choices)
    decision = serializers.ChoiceField(AdviceDecision.choices)
    n = serializers.IntegerField(help_text="The sum of what follows.")
    right = serializers.IntegerField()
    wrong = serializers.IntegerField()
    not_shown = serializers.IntegerField()
    not_tried = serializers.IntegerField(help_text="The mark was moved otherwise than advised.")
    not_enough = serializers.IntegerField(help_text="Not enough attempts so far.")
    nothing_to_check = serializers.IntegerField(
        help_text="The answer claims nothing that attempts could show."
    )


class AdviceSummarySerializer(serializers.Serializer[Any]):
    approach = serializers.UUIDField()
    n = serializers.IntegerField(help_text="Decisions on record, repeated ones included.")
    text = serializers.CharField()
    results = TallySerializer(many=True)
