"""Answers in figures and words, as the schema tells of them; they are written directly."""

from typing import Any

from rest_framework import serializers

from analytics.api.serializers import (
    FootfallSpreadSerializer,
    WindowSerializer,
    figure,
)
from approaches.models import FinishClass


class ReasonSerializer(serializers.Serializer[Any]):
    """One thing that speaks for an answer or against it, with its number."""

    code = serializers.CharField()
    numbers = serializers.DictField(
        child=serializers.JSONField(), help_text="Units in the names; null where not known."
    )
    text = serializers.CharField()


class ToldSerializer(serializers.Serializer[Any]):
    """What every answer says in words."""

    text = serializers.CharField(help_text="The answer in a few plain sentences.")
    reasons = ReasonSerializer(many=True, help_text="What speaks for it or against it.")
    would_change = serializers.ListField(
        child=serializers.CharField(), help_text="What would make the answer another one."
    )
    caution = serializers.CharField(
        allow_null=True, help_text="Where following it could hurt somebody."
    )
    more_attempts_needed = serializers.IntegerField(
        help_text="Until there is an answer; 0 when there is one."
    )


class AnswerSerializer(ToldSerializer):
    """What every answer about the latest attempts of a series begins and ends with."""

    approach = serializers.UUIDField()
    finish = serializers.ChoiceField(FinishClass.choices)
    as_of = serializers.DateTimeField(
        allow_null=True, help_text="When the newest of its attempts was stored or corrected."
    )
    through_attempt = serializers.UUIDField(allow_null=True, help_text="The last one included.")
    n = serializers.IntegerField(help_text="Attempts that it looked at.")
    stale = serializers.BooleanField(help_text="Always false: worked out when asked for.")
    method = serializers.IntegerField(help_text="Version of the formulas.")
    window = WindowSerializer(allow_null=True)


def _list(*, help_text: str = "", nullable: bool = True) -> serializers.ListField:
    return serializers.ListField(
        child=serializers.FloatField(allow_null=nullable), help_text=help_text
    )


class NeededMadeSerializer(serializers.Serializer[Any]):
    """How much of a deviation each step takes back; lists begin with the last step."""

    n = serializers.IntegerField()
    n_attempts = serializers.ListField(child=serializers.IntegerField())
    df = serializers.ListField(child=serializers.IntegerField())
    gain_observed = _list()
    standard_error = _list()
    correlation = _list()
    p_value = _list()
    null_gain = _list(help_text="What reading errors alone make where nobody steers.")
    gain = _list(help_text="0 takes nothing back, 1 all of it.")
    gain_low = _list()
    gain_high = _list()
    needed_sd_m = _list()


class SteeringSerializer(AnswerSerializer):
    spread = figure(FootfallSpreadSerializer)
    needed_and_made = figure(NeededMadeSerializer)
    reading_sd_m = serializers.FloatField(help_text="Reading error that gains were corrected for.")


class SharesSerializer(serializers.Serializer[Any]):
    """What each part did; lists are start, acceleration, transition, attack."""

    n = serializers.IntegerField(help_text="Attempts with all four places.")
    n_incomplete = serializers.IntegerField()
    mean_m = _list(help_text="Mean error that the part made; null without planned footfalls.")
    mean_low_m = _list()
    mean_high_m = _list()
    covariance_share = _list(help_text="The books: what came together at the board. No advice.")
    repair = _list(help_text="Share of the error before it that the part takes back.")
    added_sd_m = _list(help_text="Spread that the part adds itself.")
    board_share = _list(help_text="Share of the variance at the board; they sum to 1.")
    board_share_low = _list()
    board_share_high = _list()
    adds_most = serializers.IntegerField(help_text="Place in the lists of the largest added_sd_m.")
    adds_most_frequency = _list()
    error_sd_m = serializers.FloatField()


class ErrorSharesSerializer(AnswerSerializer):
    error_shares = figure(SharesSerializer)
    has_phases = serializers.BooleanField(help_text="The plan says where its phases begin.")
    is_planned = serializers.BooleanField(help_text="The plan says where footfalls should be.")
