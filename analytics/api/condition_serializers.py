"""Answers about speed and wind, as the schema tells of them; they are written directly."""

from typing import Any

from rest_framework import serializers

from analytics.api.answer_serializers import AnswerSerializer
from analytics.api.serializers import IntervalSerializer, figure
from analytics.core.board_gain import GainAnswer


class MeanSpeedSerializer(serializers.Serializer[Any]):
    """Mean speed in one zone."""

    n = serializers.IntegerField()
    n_sessions = serializers.IntegerField()
    n_measured = serializers.IntegerField(help_text="With gates at both ends; others are read off.")
    mean_mps = serializers.FloatField()
    interval = IntervalSerializer()
    attempt_sd_mps = serializers.FloatField(help_text="From attempt to attempt in a session.")
    timing_sd_mps = serializers.FloatField(help_text="What the clock leaves open in one attempt.")


class BoardGainSerializer(serializers.Serializer[Any]):
    """What happens to speed before the board; negative: it is lost."""

    n = serializers.IntegerField(help_text="Attempts of which both zones are known.")
    n_sessions = serializers.IntegerField()
    n_measured = serializers.IntegerField()
    speed_11_6_mps = serializers.FloatField()
    speed_6_1_mps = serializers.FloatField()
    gain_mps = serializers.FloatField()
    gain_interval = IntervalSerializer()
    gain_standard_error_mps = serializers.FloatField()
    gain_df = serializers.FloatField()
    over_sessions = serializers.BooleanField(help_text="Holds for sessions to come, too.")
    attempt_sd_mps = serializers.FloatField()
    clock_sd_mps = serializers.FloatField(help_text="What the clock alone makes of it.")
    own_sd_mps = serializers.FloatField(help_text="What is left for the athlete.")
    answer = serializers.ChoiceField([each.value for each in GainAnswer])


class SpeedAnswerSerializer(AnswerSerializer):
    speed_11_6 = figure(MeanSpeedSerializer)
    speed_6_1 = figure(MeanSpeedSerializer)
    gain = figure(BoardGainSerializer)
    n_timed = serializers.IntegerField(help_text="Attempts with two gates or more.")
    smallest_change_one_mps = serializers.FloatField(
        allow_null=True, help_text="Between two attempts, below it timing alone may be all."
    )
    smallest_change_mps = serializers.FloatField(
        allow_null=True, help_text="Likewise between these attempts and as many others."
    )
    probability_large_loss = serializers.FloatField(allow_null=True)
    large_loss_mps = serializers.FloatField()


def _list(help_text: str = "") -> serializers.ListField:
    return serializers.ListField(child=serializers.FloatField(), help_text=help_text)


class WindTableSerializer(serializers.Serializer[Any]):
    """How far the marks move; lists have one entry for each wind."""

    n = serializers.IntegerField()
    n_sessions = serializers.IntegerField()
    slope_m = serializers.FloatField(help_text="Change of the error for each m/s.")
    slope_interval = IntervalSerializer()
    usual_slope_m = serializers.FloatField()
    own_share = serializers.FloatField(help_text="Below 0.5 more what is usual than their own.")
    attempt_sd_m = serializers.FloatField()
    wind_mps = _list("Tail wind positive.")
    error_change_m = _list("Positive: lands short.")
    move_m = _list("Of all marks; positive back, away from the pit.")
    move_low_m = _list()
    move_high_m = _list()
    attempt_sd_with_gusts_m = _list()
    seen = serializers.ListField(
        child=serializers.BooleanField(), help_text="Their attempts cover this wind."
    )


class WindTableAnswerSerializer(AnswerSerializer):
    table = figure(WindTableSerializer)
    check_footfall = serializers.IntegerField(allow_null=True)
    run_m = serializers.FloatField(allow_null=True, help_text="Metres run to that footfall.")
    gust_sd_mps = serializers.FloatField()
