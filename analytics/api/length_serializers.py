"""Answers about the number of steps, as the schema tells of them; they are written directly."""

from typing import Any

from drf_spectacular.utils import PolymorphicProxySerializer
from rest_framework import serializers

from analytics.api.answer_serializers import AnswerSerializer, ToldSerializer
from analytics.api.serializers import (
    IntervalSerializer,
    NotEnoughAttemptsSerializer,
    figure,
)
from analytics.core.length_advice import FirstDo, LengthAnswer
from analytics.core.length_conditions import Condition, State
from analytics.core.length_study import Peak


class ConditionSerializer(serializers.Serializer[Any]):
    """One condition of more steps."""

    condition = serializers.ChoiceField([each.value for each in Condition])
    state = serializers.ChoiceField([each.value for each in State])
    n = serializers.IntegerField()
    value = serializers.FloatField(allow_null=True)
    limit = serializers.FloatField(allow_null=True)
    probability = serializers.FloatField(allow_null=True, help_text="That it holds.")


class LookSerializer(serializers.Serializer[Any]):
    """What the attempts up to the end of one session say."""

    answer = serializers.ChoiceField([each.value for each in LengthAnswer])
    n = serializers.IntegerField()
    n_sessions = serializers.IntegerField()
    findings = ConditionSerializer(many=True)
    first_do = serializers.ChoiceField([each.value for each in FirstDo], allow_null=True)
    aim_needed_m = serializers.FloatField(help_text="Nearest aim with few enough no jumps.")


class LengthAdviceSerializer(serializers.Serializer[Any]):
    """Whether to lengthen the run-up, and each condition that is not met."""

    answer = serializers.ChoiceField([each.value for each in LengthAnswer])
    latest = LookSerializer()
    before = LookSerializer(allow_null=True, help_text="Up to the session before.")
    open_findings = ConditionSerializer(many=True)
    ready_sd_m = serializers.FloatField()
    chance_if_steady = serializers.FloatField(
        allow_null=True, help_text="How often a steady athlete is shown to be."
    )
    steps_change = serializers.IntegerField()
    caution = serializers.CharField()


class LengthCautionsSerializer(serializers.Serializer[Any]):
    """What is written down of growth and load; null where nobody wrote it down."""

    growth_m_per_year = serializers.FloatField(allow_null=True)
    grown_since_plan_m = serializers.FloatField(allow_null=True)
    height_age_days = serializers.IntegerField(allow_null=True)
    growth_open = serializers.BooleanField(allow_null=True)
    session_jumps = serializers.IntegerField(allow_null=True)
    session_limit = serializers.IntegerField(allow_null=True)
    week_jumps = serializers.IntegerField(allow_null=True)
    load_open = serializers.BooleanField(allow_null=True)


class LengthAdviceAnswerSerializer(AnswerSerializer):
    advice = figure(LengthAdviceSerializer)
    steps = serializers.IntegerField()
    aim_m = serializers.FloatField()
    usual_steps = serializers.ListField(
        child=serializers.IntegerField(),
        allow_null=True,
        help_text="Fewest and most that are usual at this age; no limit.",
    )
    cautions = LengthCautionsSerializer()


class NotEnoughStepCountsSerializer(serializers.Serializer[Any]):
    """In place of a study while too few numbers of steps can be compared."""

    n = serializers.IntegerField()
    needed = serializers.IntegerField()


class LengthStudySerializer(serializers.Serializer[Any]):
    """What a pair of steps more brings, in m/s or m."""

    n = serializers.IntegerField()
    n_step_counts = serializers.IntegerField()
    n_sessions = serializers.IntegerField()
    fewest_steps = serializers.IntegerField()
    most_steps = serializers.IntegerField()
    from_steps = serializers.IntegerField()
    to_steps = serializers.IntegerField()
    gain = serializers.FloatField()
    gain_interval = IntervalSerializer()
    probability_gain = serializers.FloatField()
    beyond_tried = serializers.BooleanField()
    curvature = serializers.FloatField()
    curvature_interval = IntervalSerializer()
    peak = serializers.ChoiceField([each.value for each in Peak])
    peak_steps = serializers.FloatField(allow_null=True)
    peak_interval = IntervalSerializer(allow_null=True)
    residual_sd = serializers.FloatField()
    lack_of_fit_p = serializers.FloatField(allow_null=True)
    caution = serializers.CharField()


def _study() -> Any:
    return PolymorphicProxySerializer(
        component_name="LengthStudyOrWhatIsMissing",
        serializers=[
            LengthStudySerializer,
            NotEnoughStepCountsSerializer,
            NotEnoughAttemptsSerializer,
        ],
        resource_type_field_name=None,
    )


class AtLengthSerializer(serializers.Serializer[Any]):
    """What was reached from one number of steps."""

    steps = serializers.IntegerField()
    n = serializers.IntegerField()
    mean_speed_mps = serializers.FloatField(allow_null=True, help_text="From 6 to 1 m.")
    mean_effective_m = serializers.FloatField(allow_null=True)


class ExpectedGainSerializer(serializers.Serializer[Any]):
    """What a pair of steps more should bring by the sprint alone."""

    speed_mps = serializers.FloatField()
    speed_gain_mps = serializers.FloatField()
    distance_gain_m = serializers.FloatField()
    distance_gain_interval = IntervalSerializer()
    caution = serializers.CharField()


class LengthStudyAnswerSerializer(ToldSerializer):
    approach = serializers.UUIDField()
    as_of = serializers.DateTimeField(allow_null=True)
    through_attempt = serializers.UUIDField(allow_null=True)
    n = serializers.IntegerField(help_text="Full jumps that it looked at, from any run-up.")
    n_sessions = serializers.IntegerField()
    stale = serializers.BooleanField(help_text="Always false: worked out when asked for.")
    method = serializers.IntegerField()
    steps_now = serializers.IntegerField()
    by_steps = AtLengthSerializer(many=True)
    speed = _study()
    distance = _study()
    expected = ExpectedGainSerializer(allow_null=True)
