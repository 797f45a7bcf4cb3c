"""Run-ups that are laid out: what is asked for, and what is answered."""

from typing import Any

from rest_framework import serializers

from analytics.answers.last_steps_layout import Source
from analytics.answers.natural import Basis, Lack
from analytics.api.answer_serializers import AnswerSerializer, ToldSerializer
from analytics.api.serializers import IntervalSerializer, figure
from analytics.core.run_up_fit import Fit
from approaches.api.serializers import NewPlanSerializer
from approaches.models import Phase, StartStyle
from athletes.api.serializers import SplitSerializer
from athletes.models import Foot, SprintTest
from common.api import fields
from common.api.serializers import StrictSerializer

# What a stored run-up says itself.
_OF_APPROACH = ("athlete", "steps", "start_style")


class GivenSprintSerializer(StrictSerializer):
    """A sprint that is not stored."""

    start = fields.OneOfField(SprintTest.Start.choices)
    splits = fields.ListField(child=SplitSerializer(), min_length=2, max_length=20)


class RhythmWantedSerializer(StrictSerializer):
    """Lengths of the last three steps in proportion; none is more than twice another."""

    third = fields.NumberField(min_value=0.5, max_value=2)
    penultimate = fields.NumberField(min_value=0.5, max_value=2)
    last = fields.NumberField(min_value=0.5, max_value=2)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if max(attrs.values()) > 2 * min(attrs.values()):
            fault = serializers.ErrorDetail(
                "No step is more than twice as long as another.", "rhythm_out_of_range"
            )
            raise serializers.ValidationError([fault])
        return attrs


class DesignWishSerializer(StrictSerializer):
    """What the run-up shall be, and what is known of the athlete beside what is stored."""

    athlete = fields.IdField(
        required=False,
        allow_null=True,
        default=None,
        help_text="Whose sprint tests and measurements are taken.",
    )
    approach = fields.IdField(
        required=False,
        allow_null=True,
        default=None,
        help_text="A stored run-up: its athlete, steps and start hold, and its attempts teach.",
    )
    steps = fields.WholeNumberField(
        min_value=4,
        max_value=30,
        allow_null=True,
        default=None,
        help_text="Null: a number is proposed.",
    )
    start_style = fields.OneOfField(
        StartStyle.choices, required=False, allow_null=True, default=None, help_text="Standing."
    )
    sprint = GivenSprintSerializer(
        required=False, allow_null=True, default=None, help_text="Goes before stored tests."
    )
    step_frequency_hz = fields.NumberField(
        min_value=3,
        max_value=5.5,
        allow_null=True,
        default=None,
        help_text="Steps a second at speed, if somebody counted them.",
    )
    age_years = fields.NumberField(min_value=4, max_value=100, allow_null=True, default=None)
    height_m = fields.NumberField(min_value=1, max_value=2.3, allow_null=True, default=None)
    take_off_foot = fields.OneOfField(Foot.choices, required=False, allow_null=True, default=None)
    shoe_length_m = fields.NumberField(above=0.1, below=0.5, allow_null=True, default=None)
    aim_m = fields.NumberField(
        min_value=0,
        max_value=0.5,
        allow_null=True,
        default=None,
        help_text="Null: that of the approach's plan, else 0.06.",
    )
    rhythm = RhythmWantedSerializer(
        required=False, allow_null=True, default=None, help_text="Null: 1.06, 1.12 and 1."
    )
    start_effort = fields.NumberField(
        min_value=0.5,
        max_value=1,
        default=0.95,
        help_text="First acceleration as a share of the sprint's.",
    )
    speed_share = fields.NumberField(
        min_value=0.85,
        max_value=1,
        default=0.95,
        help_text="Speed that it tends to, as a share of the sprint's.",
    )
    early_run_m = fields.NumberField(
        min_value=1,
        max_value=40,
        allow_null=True,
        default=None,
        help_text="Metres from the start that the early check mark is near; null: after 5 steps.",
    )
    coach_footfall = fields.WholeNumberField(
        min_value=1,
        max_value=20,
        allow_null=True,
        default=None,
        help_text="Which footfall meets the coach's check mark; null: 6 or 4.",
    )
    runway_m = fields.NumberField(
        min_value=5,
        max_value=200,
        allow_null=True,
        default=None,
        help_text="Runway at hand, from the take-off line to its beginning.",
    )
    publish = fields.FlagField(
        default=False, help_text="Make the next revision of the approach's plan from it."
    )
    reason = fields.TextField(
        lines=True,
        max_length=200,
        allow_blank=True,
        default="",
        help_text="To publish: why, for whoever reads the plan.",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        faults: dict[str, serializers.ErrorDetail] = {}
        if attrs["approach"] is not None:
            faults = {
                name: serializers.ErrorDetail("The approach says it: leave it out.", "said_already")
                for name in _OF_APPROACH
                if attrs[name] is not None
            }
        elif attrs["publish"]:
            faults["approach"] = serializers.ErrorDetail(
                "Name the approach whose plan it becomes.", "required"
            )
        if faults:
            raise serializers.ValidationError(faults)
        return attrs


class PlaceSerializer(serializers.Serializer[Any]):
    """Where something lies, from the take-off line; below 0 beyond it."""

    at_m = serializers.FloatField()
    feet = serializers.IntegerField()
    inches = serializers.FloatField(help_text="To the quarter, on top of the feet.")
    shoe_lengths = serializers.FloatField(
        allow_null=True, help_text="To the half; null where the shoe was not measured."
    )


def _foot() -> serializers.ChoiceField:
    return serializers.ChoiceField(Foot.choices, allow_null=True)


class PlacedCheckMarkSerializer(serializers.Serializer[Any]):
    footfall = serializers.IntegerField()
    steps_after_start = serializers.IntegerField()
    place = PlaceSerializer()
    sd_m = serializers.FloatField()
    foot = _foot()


class PlacedPhaseSerializer(serializers.Serializer[Any]):
    phase = serializers.ChoiceField(Phase.choices)
    from_footfall = serializers.IntegerField()
    to_footfall = serializers.IntegerField()
    steps = serializers.IntegerField()
    from_m = serializers.FloatField()
    to_m = serializers.FloatField()


class PlacedFootfallSerializer(serializers.Serializer[Any]):
    """One contact; length, time and speed are those of the step that ends there."""

    footfall = serializers.IntegerField()
    at_m = serializers.FloatField()
    sd_m = serializers.FloatField()
    foot = _foot()
    step_m = serializers.FloatField(allow_null=True)
    step_time_s = serializers.FloatField(allow_null=True)
    speed_mps = serializers.FloatField(allow_null=True)


class LaidOutSerializer(serializers.Serializer[Any]):
    """A run-up on the runway; lists are in the order in which they are passed."""

    name = serializers.ChoiceField(["short", "medium", "full"])
    steps = serializers.IntegerField()
    start_mark = PlaceSerializer()
    start_mark_interval = IntervalSerializer()
    start_foot = _foot()
    check_marks = PlacedCheckMarkSerializer(many=True)
    phases = PlacedPhaseSerializer(many=True, help_text="Empty below 8 steps.")
    footfalls = PlacedFootfallSerializer(many=True)
    last_three = PlaceSerializer(
        many=True, help_text="Ground markers: third-last, penultimate, take-off foot."
    )
    board_speed_mps = serializers.FloatField()
    speed_11_6_mps = serializers.FloatField(allow_null=True)
    speed_6_1_mps = serializers.FloatField(allow_null=True)


class RunwayFitSerializer(serializers.Serializer[Any]):
    fit = serializers.ChoiceField([each.value for each in Fit])
    runway_m = serializers.FloatField(allow_null=True)
    room_behind_m = serializers.FloatField(help_text="Behind the start mark, by the start style.")
    needed_m = serializers.FloatField(help_text="Start mark and the room behind it.")
    needed_at_most_m = serializers.FloatField(help_text="At the far end of the interval.")
    most_steps = serializers.IntegerField(
        allow_null=True, help_text="Where it is too long: most steps that fit, fewer by pairs."
    )


class RestsOnSerializer(serializers.Serializer[Any]):
    """What a design follows from."""

    basis = serializers.ChoiceField([each.value for each in Basis])
    top_speed_mps = serializers.FloatField()
    top_speed_interval = IntervalSerializer(allow_null=True)
    rise_time_s = serializers.FloatField()
    step_frequency_hz = serializers.FloatField()
    sprint_test = serializers.UUIDField(allow_null=True)
    sprint_date = serializers.DateField(allow_null=True)
    splits = serializers.IntegerField()
    splits_unread = serializers.BooleanField(
        help_text="The sprint that was given tells no speed curve, and was left aside."
    )
    n_attempts = serializers.IntegerField(help_text="That taught where the feet land.")
    n_sessions = serializers.IntegerField()
    own_share = serializers.FloatField(
        allow_null=True, help_text="Of the doubt about the start mark that they removed."
    )
    n_too_far = serializers.IntegerField(
        help_text="Attempts that fit no run-up near this sprint, and were not used."
    )


class DesignAnswerSerializer(ToldSerializer):
    athlete = serializers.UUIDField(allow_null=True)
    approach = serializers.UUIDField(allow_null=True)
    steps = serializers.IntegerField(allow_null=True)
    proposed = serializers.BooleanField(help_text="The number of steps is a proposal.")
    usual_steps = serializers.ListField(
        child=serializers.IntegerField(),
        allow_null=True,
        help_text="Fewest and most that are usual at this age in the long jump; no limit.",
    )
    start_style = serializers.ChoiceField(StartStyle.choices)
    aim_m = serializers.FloatField()
    design = LaidOutSerializer(allow_null=True)
    lengths = LaidOutSerializer(many=True, help_text="Short, medium and full.")
    runway = RunwayFitSerializer(allow_null=True)
    rests_on = RestsOnSerializer(allow_null=True)
    lacking = serializers.ListField(
        child=serializers.ChoiceField([each.value for each in Lack]),
        help_text="What would be needed; a sprint can replace age and height.",
    )
    splits_unread = serializers.BooleanField()
    plan = NewPlanSerializer(allow_null=True, help_text="The body of a plan with these marks.")
    published_plan = serializers.UUIDField(allow_null=True)
    published_revision = serializers.IntegerField(allow_null=True)
    method = serializers.IntegerField(help_text="Version of the formulas.")


class LandedSerializer(serializers.Serializer[Any]):
    """Where a foot really lands."""

    n = serializers.IntegerField()
    mean_m = serializers.FloatField()
    interval = IntervalSerializer()
    sd_m = serializers.FloatField()
    off_m = serializers.FloatField(help_text="Mean less marker; positive: short of it.")


class MarkerSerializer(serializers.Serializer[Any]):
    """A ground marker."""

    footfall = serializers.IntegerField()
    foot = _foot()
    place = PlaceSerializer()
    after_check_mark_m = serializers.FloatField(
        allow_null=True, help_text="How far beyond the last check mark it lies."
    )
    landed = figure(LandedSerializer)


class MarkersAtSerializer(serializers.Serializer[Any]):
    """The ground markers of one length."""

    name = serializers.ChoiceField(["short", "medium", "full"])
    steps = serializers.IntegerField()
    start_mark = PlaceSerializer()
    check_mark = PlaceSerializer(allow_null=True)
    check_footfall = serializers.IntegerField(allow_null=True)
    markers = MarkerSerializer(
        many=True, help_text="Of the third-last, the penultimate and the take-off foot."
    )


class LastStepsLayoutSerializer(AnswerSerializer):
    steps = serializers.IntegerField()
    aim_m = serializers.FloatField()
    taken_from = serializers.ChoiceField([each.value for each in Source], allow_null=True)
    lengths = MarkersAtSerializer(many=True, help_text="The shortest first.")
