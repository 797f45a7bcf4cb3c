"""What was asked for and takes longer, on the wire."""

from typing import Any

from drf_spectacular.utils import PolymorphicProxySerializer
from rest_framework import serializers

from analytics.answers import what_if
from analytics.api.answer_serializers import AnswerSerializer
from analytics.api.asked import DEFAULT_LAST, MOST_LAST
from analytics.api.report_serializers import SquadSeasonSerializer
from analytics.api.serializers import IntervalSerializer, figure
from analytics.core import known_habits
from analytics.models import WorkFailure, WorkKind, WorkState
from approaches.models import FinishClass
from common.api import fields
from common.api.serializers import StrictSerializer

MOST_MOVE_M = 2.0
MOST_WIND_MPS = 6.0
MOST_AIM_M = 1.0
MOST_FACTOR = 3.0


class SteadierSerializer(StrictSerializer):
    """Other unsteadiness in some of the steps, counted back from the board: the last one is 1."""

    first_step = fields.WholeNumberField(min_value=1, max_value=30, help_text="Of the part.")
    last_step = fields.WholeNumberField(min_value=1, max_value=30, help_text="Of the part.")
    factor = fields.NumberField(
        min_value=0, max_value=MOST_FACTOR, help_text="Of what it is now: 0.5 is half of it."
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["last_step"] > attrs["first_step"]:
            raise serializers.ValidationError(
                {"last_step": serializers.ErrorDetail("It comes after the first.", "max_value")}
            )
        return attrs


class WhatIfSerializer(StrictSerializer):
    """What shall be otherwise: one of the changes at least, or several at once."""

    finish = fields.OneOfField(FinishClass.choices, default=FinishClass.JUMP.value)
    last = fields.WholeNumberField(
        min_value=1,
        max_value=MOST_LAST,
        default=DEFAULT_LAST,
        help_text="From how many of the latest attempts, at most.",
    )
    move_mark_m = fields.NumberField(
        min_value=-MOST_MOVE_M,
        max_value=MOST_MOVE_M,
        required=False,
        help_text="Move the start mark, and nothing else; negative toward the pit.",
    )
    aim_m = fields.NumberField(
        min_value=-MOST_AIM_M,
        max_value=MOST_AIM_M,
        required=False,
        help_text="Aim here, behind the line; the mark moves along.",
    )
    wind_mps = fields.NumberField(
        min_value=-MOST_WIND_MPS,
        max_value=MOST_WIND_MPS,
        required=False,
        help_text="In this wind in place of the usual one, from the same mark.",
    )
    steadier = SteadierSerializer(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not set(attrs) - {"finish", "last"}:
            raise serializers.ValidationError("Name at least one change.", "empty")
        return attrs


class ChoicesSerializer(serializers.Serializer[Any]):
    """What was asked; null where it stays as it is."""

    move_mark_m = serializers.FloatField(allow_null=True)
    aim_m = serializers.FloatField(allow_null=True)
    wind_mps = serializers.FloatField(allow_null=True)
    steadier = SteadierSerializer(allow_null=True)


class OutcomeSerializer(serializers.Serializer[Any]):
    """One figure before and after; the interval is of the error of simulating alone."""

    before = serializers.FloatField()
    after = serializers.FloatField()
    change = serializers.FloatField()
    monte_carlo_error = serializers.FloatField()
    interval = IntervalSerializer()


class KnownToSerializer(serializers.Serializer[Any]):
    """Within what the changes lie, as well as these attempts know the habits."""

    n_resamples = serializers.IntegerField()
    no_jump_share = IntervalSerializer()
    mean_square_error_m2 = IntervalSerializer()
    official_m = IntervalSerializer(allow_null=True)


class ComparedSerializer(serializers.Serializer[Any]):
    """What the change would do."""

    n = serializers.IntegerField(
        help_text="Own attempts with every footfall measured, or all but the toe of a no jump."
    )
    n_sessions = serializers.IntegerField()
    n_simulated = serializers.IntegerField(help_text="Simulated attempts of each kind.")
    aim_m = serializers.FloatField()
    new_aim_m = serializers.FloatField()
    usual_wind_mps = serializers.FloatField(allow_null=True)
    no_jump_share = OutcomeSerializer()
    typical_error_m = serializers.ListField(
        child=serializers.FloatField(), help_text="Against the aim, before and after."
    )
    mean_square_error_m2 = OutcomeSerializer()
    official_m = OutcomeSerializer(
        allow_null=True,
        help_text=f"Best of six; null with fewer than {what_if.MIN_DISTANCES} known distances.",
    )
    known_to = KnownToSerializer(
        allow_null=True,
        help_text=f"Null with fewer than {known_habits.MIN_SESSIONS} sessions.",
    )


class WhatIfAnswerSerializer(AnswerSerializer):
    choices = ChoicesSerializer()
    what_if = figure(ComparedSerializer)


# One for each kind of work.
ANSWERS: list[type[serializers.Serializer[Any]]] = [WhatIfAnswerSerializer, SquadSeasonSerializer]


class ProgressSerializer(serializers.Serializer[Any]):
    done = serializers.IntegerField()
    of = serializers.IntegerField(help_text="0 until a worker has counted the parts.")


class FailureSerializer(serializers.Serializer[Any]):
    code = serializers.ChoiceField(WorkFailure.choices)
    text = serializers.CharField(help_text="What to do about it.")


class WorkSerializer(serializers.Serializer[Any]):
    """A question that a worker answers: how far it is, and the answer once there is one."""

    id = serializers.UUIDField()
    kind = serializers.ChoiceField(WorkKind.choices)
    state = serializers.ChoiceField(WorkState.choices)
    text = serializers.CharField(help_text="The state in plain words.")
    progress = ProgressSerializer()
    asked = serializers.DictField(child=serializers.JSONField(), help_text="The question.")
    asked_at = serializers.DateTimeField()
    started_at = serializers.DateTimeField(allow_null=True)
    finished_at = serializers.DateTimeField(allow_null=True)
    forget_at = serializers.DateTimeField(help_text="When it is deleted, its answer with it.")
    failure = FailureSerializer(allow_null=True)
    answer = PolymorphicProxySerializer(
        component_name="WorkAnswer",
        serializers=ANSWERS,
        resource_type_field_name=None,
        allow_null=True,
    )
