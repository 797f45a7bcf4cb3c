"""Figures and alerts on the wire.

The answers with figures are written from the stored figures directly; their serializers here tell
the schema what they hold.
"""

from datetime import date
from typing import Any

from drf_spectacular.utils import PolymorphicProxySerializer
from rest_framework import serializers

from analytics.answers import alert_words
from analytics.core import alert_settings
from analytics.models import AlertKind
from analytics.services import alerting
from approaches.models import FinishClass, Phase
from common.api import fields
from common.api.serializers import ChangesSerializer, StrictSerializer


class NotEnoughAttemptsSerializer(serializers.Serializer[Any]):
    """Stands where a figure would look firmer than it is."""

    not_enough_attempts = serializers.CharField(help_text='"not enough attempts (3 of 5)"')
    n = serializers.IntegerField()
    needed = serializers.IntegerField()


class IntervalSerializer(serializers.Serializer[Any]):
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    level = serializers.FloatField(help_text="Probability with which it covers the true value.")


def figure(serializer: type[serializers.Serializer[Any]], **options: Any) -> Any:
    """Return the schema of a figure that may be missing for want of attempts."""
    name = serializer.__name__.removesuffix("Serializer")
    return PolymorphicProxySerializer(
        component_name=f"{name}OrNotEnough",
        serializers=[serializer, NotEnoughAttemptsSerializer],
        resource_type_field_name=None,
        **options,
    )


class WindowSerializer(serializers.Serializer[Any]):
    """The attempts that the figures are made of; plan and aim are those of the last one."""

    n = serializers.IntegerField()
    n_sessions = serializers.IntegerField()
    first_attempt = serializers.UUIDField()
    last_attempt = serializers.UUIDField()
    first_started_at = serializers.DateTimeField()
    last_started_at = serializers.DateTimeField()
    plan_revision = serializers.IntegerField(allow_null=True)
    aim_m = serializers.FloatField()


class FiguresSerializer(serializers.Serializer[Any]):
    """What every answer with figures begins with."""

    approach = serializers.UUIDField()
    finish = serializers.ChoiceField(FinishClass.choices)
    as_of = serializers.DateTimeField(allow_null=True, help_text="When they were computed.")
    through_attempt = serializers.UUIDField(allow_null=True, help_text="The last one included.")
    n = serializers.IntegerField(help_text="Attempts in the whole series.")
    stale = serializers.BooleanField(help_text="Newer attempts wait to be computed.")
    method = serializers.IntegerField(help_text="Version of the formulas.")


class SessionSpreadSerializer(serializers.Serializer[Any]):
    """Spread within and between sessions."""

    n = serializers.IntegerField()
    n_sessions = serializers.IntegerField()
    within_sd_m = serializers.FloatField()
    within_df = serializers.FloatField()
    between_sd_m = serializers.FloatField()
    between_df = serializers.FloatField()
    total_sd_m = serializers.FloatField()
    mean_standard_error_m = serializers.FloatField()
    mean_df = serializers.FloatField()


class AccuracySerializer(serializers.Serializer[Any]):
    """Accuracy and consistency at the board, of measured toes. Positive: landed short."""

    n = serializers.IntegerField()
    n_measured = serializers.IntegerField()
    n_unmeasured_no_jumps = serializers.IntegerField()
    n_revisions = serializers.IntegerField()
    df = serializers.FloatField()
    bias_m = serializers.FloatField()
    bias_interval = IntervalSerializer()
    sd_m = serializers.FloatField()
    sd_interval = IntervalSerializer()
    rmse_m = serializers.FloatField()
    robust_sd_m = serializers.FloatField()
    n_on_board = serializers.IntegerField()
    share_on_board = serializers.FloatField()
    share_on_board_interval = IntervalSerializer()
    n_no_jumps = serializers.IntegerField()
    share_no_jump = serializers.FloatField()
    share_no_jump_interval = IntervalSerializer()
    sessions = figure(SessionSpreadSerializer, allow_null=True)
    bias_interval_over_sessions = IntervalSerializer(allow_null=True)


class CensoredSerializer(serializers.Serializer[Any]):
    """Where the toe comes down, no jumps without a measured toe included."""

    n = serializers.IntegerField()
    n_measured = serializers.IntegerField()
    n_unmeasured_no_jumps = serializers.IntegerField()
    mean_m = serializers.FloatField()
    mean_interval = IntervalSerializer()
    sd_m = serializers.FloatField()
    adjusted_sd_m = serializers.FloatField()
    sd_interval = IntervalSerializer()
    df = serializers.FloatField()
    probability_no_jump = serializers.FloatField()
    probability_no_jump_interval = IntervalSerializer()


class ChangeSerializer(serializers.Serializer[Any]):
    """The last block of attempts against the one before it."""

    n_before = serializers.IntegerField()
    n_after = serializers.IntegerField()
    sd_before_m = serializers.FloatField()
    sd_after_m = serializers.FloatField()
    df_before = serializers.FloatField()
    df_after = serializers.FloatField()
    sd_ratio = serializers.FloatField(allow_null=True)
    sd_ratio_interval = IntervalSerializer(allow_null=True)
    probability_spread_lower = serializers.FloatField(allow_null=True)
    bias_change_m = serializers.FloatField()
    bias_change_interval = IntervalSerializer()


class ConsistencySerializer(FiguresSerializer):
    window = WindowSerializer(allow_null=True)
    accuracy = figure(AccuracySerializer)
    censored = figure(CensoredSerializer)
    change = figure(ChangeSerializer)


class OnsetSerializer(serializers.Serializer[Any]):
    """Where steering begins."""

    footfall = serializers.IntegerField()
    distance_m = serializers.FloatField()
    phase = serializers.ChoiceField([each.value for each in Phase], allow_null=True)
    is_late = serializers.BooleanField()
    adjustment_percent = serializers.ListField(child=serializers.FloatField(allow_null=True))


class FootfallSpreadSerializer(serializers.Serializer[Any]):
    """Spread of each footfall; lists begin with the take-off foot and go back."""

    n = serializers.IntegerField()
    n_unmeasured_no_jumps = serializers.IntegerField()
    n_measured = serializers.ListField(child=serializers.IntegerField())
    df = serializers.ListField(child=serializers.FloatField(allow_null=True))
    mean_m = serializers.ListField(child=serializers.FloatField(allow_null=True))
    sd_m = serializers.ListField(child=serializers.FloatField(allow_null=True))
    sd_low_m = serializers.ListField(child=serializers.FloatField(allow_null=True))
    sd_high_m = serializers.ListField(child=serializers.FloatField(allow_null=True))
    within_session_sd_m = serializers.ListField(child=serializers.FloatField(allow_null=True))
    largest_at = serializers.IntegerField()
    fall_p_value = serializers.FloatField(allow_null=True)
    onset = OnsetSerializer(allow_null=True, help_text="Null when no steering is shown.")
    onset_frequency = serializers.ListField(child=serializers.FloatField(allow_null=True))
    no_onset_frequency = serializers.FloatField(allow_null=True)


class SpreadSerializer(FiguresSerializer):
    window = WindowSerializer(allow_null=True)
    spread = figure(FootfallSpreadSerializer)


class PointSerializer(serializers.Serializer[Any]):
    """Rolling figures after one attempt; null means not enough to say."""

    attempt = serializers.UUIDField()
    started_at = serializers.DateTimeField()
    plan_revision = serializers.IntegerField(allow_null=True)
    n = serializers.IntegerField(help_text="Attempts in the window.")
    n_measured = serializers.IntegerField()
    n_no_jumps = serializers.IntegerField()
    n_on_board = serializers.IntegerField()
    toe_m = serializers.FloatField(allow_null=True)
    no_jump = serializers.BooleanField()
    bias_m = serializers.FloatField(allow_null=True)
    bias_low_m = serializers.FloatField(allow_null=True)
    bias_high_m = serializers.FloatField(allow_null=True)
    spread_m = serializers.FloatField(allow_null=True)
    spread_low_m = serializers.FloatField(allow_null=True)
    spread_high_m = serializers.FloatField(allow_null=True)
    share_on_board = serializers.FloatField(allow_null=True)
    share_no_jump = serializers.FloatField(allow_null=True)


class TrendSerializer(FiguresSerializer):
    has_earlier = serializers.BooleanField(
        help_text="There are points before these: ask with `before` the first of them."
    )
    points = PointSerializer(many=True, help_text="In the order of the attempts.")


class RunUpPointSerializer(serializers.Serializer[Any]):
    """Rolling speed and rhythm after one attempt, each mean with its interval of 95 %.

    Null means not enough to say.
    """

    attempt = serializers.UUIDField()
    started_at = serializers.DateTimeField()
    plan_revision = serializers.IntegerField(allow_null=True)
    n = serializers.IntegerField(help_text="Attempts in the window.")
    n_speeds = serializers.IntegerField(
        help_text="Attempts in the window with speeds in both zones."
    )
    n_speeds_at_gates = serializers.IntegerField(
        help_text="Of these, with gates at the ends of the zones; the others are interpolated."
    )
    speed_11_6_mps = serializers.FloatField(
        allow_null=True, help_text="Mean, 11 to 6 m before the line."
    )
    speed_6_1_mps = serializers.FloatField(
        allow_null=True, help_text="Mean, 6 to 1 m before the line."
    )
    speed_6_1_low_mps = serializers.FloatField(allow_null=True)
    speed_6_1_high_mps = serializers.FloatField(allow_null=True)
    speed_gain_mps = serializers.FloatField(
        allow_null=True,
        help_text="Mean of the second less the first; negative: lost into the board.",
    )
    speed_gain_low_mps = serializers.FloatField(allow_null=True)
    speed_gain_high_mps = serializers.FloatField(allow_null=True)
    n_step_lengths = serializers.IntegerField(
        help_text="Attempts in the window with the lengths of the last three steps."
    )
    length_ratio_2 = serializers.FloatField(
        allow_null=True, help_text="Mean length of the penultimate step, to the third-last."
    )
    length_ratio_2_low = serializers.FloatField(allow_null=True)
    length_ratio_2_high = serializers.FloatField(allow_null=True)
    length_ratio_2_sd = serializers.FloatField(
        allow_null=True, help_text="SD from attempt to attempt."
    )
    length_ratio_1 = serializers.FloatField(
        allow_null=True, help_text="Mean length of the last step, to the third-last."
    )
    length_ratio_1_low = serializers.FloatField(allow_null=True)
    length_ratio_1_high = serializers.FloatField(allow_null=True)
    length_ratio_1_sd = serializers.FloatField(
        allow_null=True, help_text="SD from attempt to attempt."
    )
    n_step_times = serializers.IntegerField(
        help_text="Attempts in the window with the times of the last three steps."
    )
    time_ratio_2 = serializers.FloatField(
        allow_null=True, help_text="Mean time of the penultimate step, to the third-last."
    )
    time_ratio_2_low = serializers.FloatField(allow_null=True)
    time_ratio_2_high = serializers.FloatField(allow_null=True)
    time_ratio_1 = serializers.FloatField(
        allow_null=True, help_text="Mean time of the last step, to the third-last."
    )
    time_ratio_1_low = serializers.FloatField(allow_null=True)
    time_ratio_1_high = serializers.FloatField(allow_null=True)


class RunUpTrendSerializer(FiguresSerializer):
    has_earlier = serializers.BooleanField(
        help_text="There are points before these: ask with `before` the first of them."
    )
    points = RunUpPointSerializer(many=True, help_text="In the order of the attempts.")


class AlertSerializer(serializers.Serializer[Any]):
    """Something about a series that a coach should see, with its evidence."""

    id = serializers.UUIDField()
    kind = serializers.ChoiceField(AlertKind.choices)
    text = serializers.SerializerMethodField(
        help_text="What was found, since when, how sure it is, in the language that was asked for."
    )
    approach = serializers.UUIDField(source="approach_id")
    athlete = serializers.UUIDField(source="approach.athlete_id")
    finish = serializers.ChoiceField(FinishClass.choices, source="finish_class")
    plan_revision = serializers.IntegerField(source="plan.revision", default=None, allow_null=True)
    opened_at = serializers.DateTimeField(help_text="Start of the attempt that opened it.")
    opened_at_attempt = serializers.UUIDField(source="opened_at_attempt_id")
    evidence = serializers.DictField(
        child=serializers.JSONField(), help_text="Numbers to check it by, units in the names."
    )
    closed_at = serializers.DateTimeField(allow_null=True)
    closed_because = serializers.ChoiceField(
        [alerting.CALM, alerting.NEW_PLAN, *alerting.WITHOUT_GROUND], allow_null=True
    )
    acknowledged_at = serializers.DateTimeField(allow_null=True)
    acknowledged_by = serializers.UUIDField(
        source="acknowledged_by_id", allow_null=True, help_text="The member, as in the audit."
    )
    is_put_off = serializers.SerializerMethodField(help_text="Its day is still to come.")
    put_off_until_date = serializers.DateField(allow_null=True, help_text="The day it is back.")
    put_off_reason = serializers.CharField()
    put_off_at = serializers.DateTimeField(allow_null=True)
    put_off_by = serializers.UUIDField(
        source="put_off_by_id", allow_null=True, help_text="The member, as in the audit."
    )

    def get_is_put_off(self, alert: Any) -> bool:
        until: date | None = alert.put_off_until_date
        return until is not None and until > self.context["view"].today

    def get_text(self, alert: Any) -> str:
        return alert_words.describe(alert.kind, alert.evidence)

    def to_representation(self, alert: Any) -> dict[str, Any]:
        written: dict[str, Any] = super().to_representation(alert)
        return written | {"closed_because": alert.closed_because or None}


class AlertChangesSerializer(ChangesSerializer):
    """What a person does about an alert."""

    acknowledged = fields.FlagField(help_text="Seen to; it stays so until the alert closes.")
    put_off_until_date = fields.DayField(
        allow_null=True, help_text="A day to come, on which the alert is back; null: now."
    )
    put_off_reason = fields.TextField(
        lines=True, max_length=400, help_text="Why it can wait; the athlete may read it."
    )


class ThresholdsSerializer(serializers.Serializer[Any]):
    """Thresholds by name; which there are depends on the kind of alert."""

    calm_sessions = serializers.IntegerField(required=False)
    no_jump_share_limit = serializers.FloatField(required=False)
    no_jump_attempts = serializers.IntegerField(required=False)
    progress_probability = serializers.FloatField(required=False)
    progress_lost_probability = serializers.FloatField(required=False)
    progress_sessions = serializers.IntegerField(required=False)
    progress_block_attempts = serializers.IntegerField(required=False)


class AlertRuleSerializer(serializers.Serializer[Any]):
    """What holds in the club for one kind of alert."""

    kind = serializers.ChoiceField(AlertKind.choices)
    is_active = serializers.BooleanField(help_text="Whether it is judged at all.")
    thresholds = ThresholdsSerializer(help_text="Those that hold.")
    own_thresholds = ThresholdsSerializer(help_text="Those that the club set.")
    defaults = ThresholdsSerializer()


class AlertRulesSerializer(serializers.Serializer[Any]):
    results = AlertRuleSerializer(many=True)
    n_series_waiting = serializers.IntegerField(
        help_text="Series that are still to be judged by the rules as they are now."
    )


def _count(name: str) -> fields.WholeNumberField:
    least, most = alert_settings.COUNTS[name]
    return fields.WholeNumberField(min_value=least, max_value=most, allow_null=True, required=False)


class ThresholdChangesSerializer(StrictSerializer):
    """Thresholds to change, by name; null takes one back to its default."""

    calm_sessions = _count("calm_sessions")
    no_jump_share_limit = fields.NumberField(above=0, below=1, allow_null=True, required=False)
    no_jump_attempts = _count("no_jump_attempts")
    progress_probability = fields.NumberField(
        above=alert_settings.LEAST_PROGRESS_PROBABILITY, below=1, allow_null=True, required=False
    )
    progress_lost_probability = fields.NumberField(
        above=0, below=1, allow_null=True, required=False
    )
    progress_sessions = _count("progress_sessions")
    progress_block_attempts = _count("progress_block_attempts")


class AlertRuleChangesSerializer(ChangesSerializer):
    is_active = fields.FlagField(help_text="False closes the open alerts of this kind.")
    thresholds = ThresholdChangesSerializer()
