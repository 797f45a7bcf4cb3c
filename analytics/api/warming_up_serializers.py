"""Answers during a warm-up, as the schema tells of them; they are written directly."""

from typing import Any

from rest_framework import serializers

from analytics.api.answer_serializers import AnswerSerializer
from analytics.api.serializers import figure
from analytics.core.todays_mark import Reason
from approaches.models import SessionKind


def _list(help_text: str = "") -> serializers.ListField:
    return serializers.ListField(child=serializers.FloatField(), help_text=help_text)


class CalibrationSerializer(serializers.Serializer[Any]):
    """What is believed after none, one, two ... run-throughs; positive: jumps land short."""

    n = serializers.ListField(child=serializers.IntegerField())
    bias_m = _list("Of the mark that the first was run from.")
    bias_sd_m = _list()
    low_m = _list()
    high_m = _list()
    move_m = _list("Negative toward the pit; 0 below 3 cm.")
    start_mark_m = _list("To use then.")


class MovedForSerializer(serializers.Serializer[Any]):
    reason = serializers.ChoiceField([each.value for each in Reason])
    move_m = serializers.FloatField(help_text="Positive: away from the pit.")
    sd_m = serializers.FloatField()


class WarmUpSerializer(AnswerSerializer):
    """What run-throughs say about today's mark."""

    athlete = serializers.UUIDField()
    athlete_code = serializers.CharField()
    calibration = figure(CalibrationSerializer)
    check_footfall = serializers.IntegerField(allow_null=True)
    planned_start_mark_m = serializers.FloatField(allow_null=True)
    parts = MovedForSerializer(many=True, help_text="What moves the mark before anything is run.")
    first_start_mark_m = serializers.FloatField(allow_null=True)
    n_offset_sessions = serializers.IntegerField()
    offset_m = serializers.FloatField(help_text="Of run-throughs against jumps.")
    offset_sd_m = serializers.FloatField()
    error_sd_m = serializers.FloatField(help_text="Of one run-through.")
    is_own_spread = serializers.BooleanField()


class WarmUpsSerializer(serializers.Serializer[Any]):
    session = serializers.UUIDField()
    kind = serializers.ChoiceField(SessionKind.choices)
    results = WarmUpSerializer(many=True, help_text="By athletes' codes.")
