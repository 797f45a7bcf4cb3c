"""Answers in figures and words, as the schema tells of them; they are written directly."""

from typing import Any

from rest_framework import serializers

from analytics.answers import aim_first, practice_focus
from analytics.api.serializers import (
    FootfallSpreadSerializer,
    IntervalSerializer,
    WindowSerializer,
    figure,
)
from analytics.core.diagnosis import Trouble
from analytics.core.mark_advice import MarkAnswer
from approaches.models import FinishClass, SessionKind


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


class MeanSerializer(serializers.Serializer[Any]):
    """A mean over attempts, and the SD from attempt to attempt."""

    n = serializers.IntegerField()
    mean = serializers.FloatField()
    interval = IntervalSerializer()
    sd = serializers.FloatField()


class LastStepsSerializer(serializers.Serializer[Any]):
    """The last three steps, step 1 the last; ratios are to step 3 of the same attempt."""

    n = serializers.IntegerField()
    length_ratio_2 = figure(MeanSerializer)
    length_ratio_1 = figure(MeanSerializer)
    penultimate_longer_percent = figure(MeanSerializer)
    n_lengths = serializers.IntegerField()
    n_medium_long_short = serializers.IntegerField()
    time_ratio_2 = figure(MeanSerializer)
    time_ratio_1 = figure(MeanSerializer)
    contact_s = figure(MeanSerializer, many=True)
    n_contacts = serializers.IntegerField(help_text="Attempts with all three contacts watched.")
    n_contacts_as_planned = serializers.IntegerField()
    contact_as_planned = serializers.ListField(
        child=serializers.ListField(child=serializers.IntegerField()),
        help_text="Of footfalls 2, 1 and 0: how often as planned, of how many.",
    )


class FlaggedSerializer(serializers.Serializer[Any]):
    """An attempt with chopped or reaching steps."""

    attempt = serializers.UUIDField()
    stutter = serializers.BooleanField()
    over_stride = serializers.BooleanField()
    z = _list(help_text="Of steps 1 to 5, against the athlete's other attempts.")


class FaultsSerializer(serializers.Serializer[Any]):
    """Chopped and reaching steps near the board, in attempts of the latest plan revision."""

    n = serializers.IntegerField()
    has_times = serializers.BooleanField(help_text="Without touchdown times none is flagged.")
    n_stutters = serializers.IntegerField()
    n_over_strides = serializers.IntegerField()
    habitual_short_steps = serializers.ListField(
        child=serializers.BooleanField(), help_text="Of steps 1 to 5: short of the plan as a habit."
    )
    flagged = FlaggedSerializer(many=True)


class RhythmSerializer(AnswerSerializer):
    last_steps = figure(LastStepsSerializer)
    planned_contacts = serializers.ListField(child=serializers.CharField())
    step_faults = figure(FaultsSerializer)


class OutlookSerializer(serializers.Serializer[Any]):
    """What the next attempts will probably do at the board."""

    n = serializers.IntegerField()
    n_measured = serializers.IntegerField()
    n_unmeasured_no_jumps = serializers.IntegerField()
    n_sessions = serializers.IntegerField()
    aim_m = serializers.FloatField()
    mean_m = serializers.FloatField(help_text="Where the next toe is expected.")
    toe_interval = IntervalSerializer()
    probability_no_jump = serializers.FloatField()
    probability_no_jump_interval = IntervalSerializer(
        help_text="This athlete's own risk, which the attempts do not tell exactly."
    )
    probability_on_board = serializers.FloatField()
    probability_short = serializers.FloatField()
    probability_all_no_jumps = serializers.ListField(
        child=serializers.FloatField(), help_text="That each of 1, 2, ... 6 attempts is a no jump."
    )


class ByAimSerializer(serializers.Serializer[Any]):
    """What the next attempt would be, were the toe to come down at each aim on the mean."""

    aim_m = _list(nullable=False, help_text="Behind the line, 1 cm apart.")
    probability_no_jump = _list(nullable=False)
    probability_on_board = _list(nullable=False)
    probability_short = _list(nullable=False)


class OutlookAnswerSerializer(AnswerSerializer):
    outlook = figure(OutlookSerializer)
    mark_corrected = serializers.BooleanField(help_text="The mark was moved since these attempts.")
    in_session = serializers.BooleanField(help_text="Of a session that goes on.")
    by_aim = ByAimSerializer(allow_null=True)


class AimChoiceSerializer(serializers.Serializer[Any]):
    aim_m = serializers.FloatField()
    expected_m = serializers.FloatField(help_text="Best distance in the end; none counts as 0.")
    probability_no_jump = serializers.FloatField()
    good_from_m = serializers.FloatField(help_text="From here on an aim is as good to 1 cm.")
    good_to_m = serializers.FloatField()
    capped = serializers.BooleanField(help_text="Behind the board would be better still.")


class AimAdviceSerializer(serializers.Serializer[Any]):
    """Where to aim for the attempts that are left."""

    n_toes = serializers.IntegerField()
    n_distances = serializers.IntegerField()
    attempts_left = serializers.IntegerField()
    best_m = serializers.FloatField(allow_null=True)
    cut_m = serializers.FloatField(allow_null=True)
    fixed = AimChoiceSerializer(help_text="One aim for all attempts that are left.")
    plan = AimChoiceSerializer(help_text="For this attempt, when later aims follow the results.")
    while_no_better_m = serializers.ListField(child=serializers.FloatField())
    habit_m = serializers.FloatField(help_text="Where the toe is expected now.")
    habit_expected_m = serializers.FloatField()
    habit_probability_no_jump = serializers.FloatField()
    gain_m = serializers.FloatField()
    move_m = serializers.FloatField(help_text="From the habit to the plan's aim.")


class AimFieldsSerializer(serializers.Serializer[Any]):
    aim = figure(AimAdviceSerializer, allow_null=True)
    lacks = serializers.CharField(allow_null=True, help_text="toe or distance.")
    distance_sd_m = serializers.FloatField(allow_null=True)


class AimAnswerSerializer(AimFieldsSerializer, AnswerSerializer):
    pass


class PlaceBiasSerializer(serializers.Serializer[Any]):
    """The present bias at the board or the check mark; positive: lands short."""

    n = serializers.IntegerField()
    mean_m = serializers.FloatField()
    sd_m = serializers.FloatField()
    interval = IntervalSerializer()
    error_sd_m = serializers.FloatField(help_text="SD of one attempt.")
    probability_short = serializers.FloatField()
    probability_far = serializers.FloatField()


class MarkAdviceSerializer(serializers.Serializer[Any]):
    answer = serializers.ChoiceField([each.value for each in MarkAnswer])
    n = serializers.IntegerField()
    board = PlaceBiasSerializer()
    check = PlaceBiasSerializer(allow_null=True)
    move_m = serializers.FloatField(help_text="Negative toward the pit.")
    start_mark_m = serializers.FloatField(help_text="The mark to use, to the centimetre.")


class GrowingSerializer(serializers.Serializer[Any]):
    """Whether the athlete has outgrown the marks, by heights and by feet."""

    outgrown = serializers.BooleanField(help_text="Take all marks anew.")
    by_height = serializers.BooleanField(allow_null=True)
    by_line = serializers.BooleanField(allow_null=True, help_text="By feet; null below 4 sessions.")
    grown_since_plan_m = serializers.FloatField(allow_null=True)
    drift_m = serializers.FloatField(
        allow_null=True, help_text="Nearer the pit for each session, at the watched footfall."
    )
    since_date = serializers.DateField(
        allow_null=True, help_text="Of the height that said so first."
    )


class LearnedWindSerializer(serializers.Serializer[Any]):
    """Which wind table was used: below an `own_share` of 0.5 it is more what is usual."""

    n = serializers.IntegerField()
    own_share = serializers.FloatField()
    by_usual = serializers.FloatField(help_text="The athlete's slope as a share of the usual one.")


class MarkFieldsSerializer(serializers.Serializer[Any]):
    advice = figure(MarkAdviceSerializer)
    check_footfall = serializers.IntegerField(allow_null=True)
    pass_through = serializers.FloatField()
    n_with_wind = serializers.IntegerField()
    wind = LearnedWindSerializer()
    growing = GrowingSerializer()
    ran_from_m = serializers.FloatField(allow_null=True, help_text="Mark of the last attempt.")
    start_mark_feet = serializers.CharField(allow_null=True)
    start_mark_shoes = serializers.FloatField(allow_null=True)


class MarkAnswerSerializer(MarkFieldsSerializer, AnswerSerializer):
    pass


class FindingSerializer(serializers.Serializer[Any]):
    """One possible trouble, with the number that speaks for or against it."""

    trouble = serializers.ChoiceField([each.value for each in Trouble])
    shown = serializers.BooleanField()
    probability = serializers.FloatField()
    estimate = serializers.FloatField()
    interval = IntervalSerializer()
    size_m = serializers.FloatField(help_text="Typical error that it makes.")
    part = serializers.CharField(allow_null=True)


class DiagnosisSerializer(serializers.Serializer[Any]):
    n = serializers.IntegerField()
    n_sessions = serializers.IntegerField()
    main = serializers.ChoiceField([each.value for each in Trouble], allow_null=True)
    findings = FindingSerializer(many=True)


class PracticeFocusSerializer(AnswerSerializer):
    diagnosis = figure(DiagnosisSerializer)
    first = serializers.ChoiceField(
        practice_focus.ANSWERS,
        allow_null=True,
        help_text="What to see to first; null where there are not enough attempts.",
    )
    check_footfall = serializers.IntegerField(allow_null=True)
    is_planned = serializers.BooleanField(help_text="The plan says enough to judge by.")
    set_anew = serializers.BooleanField(help_text="The marks were set anew since.")
    growing = GrowingSerializer()
    aim = AimFieldsSerializer(allow_null=True, help_text="Where nothing else is shown.")
    probability_no_jump = serializers.FloatField(
        allow_null=True, help_text="Where nothing else is shown and distances lack."
    )


class ContestSerializer(serializers.Serializer[Any]):
    """How far an athlete is in a competition."""

    attempts_taken = serializers.IntegerField()
    attempts_left = serializers.IntegerField()
    cut_waits = serializers.BooleanField(help_text="Only attempts before the cut are counted on.")
    best_m = serializers.FloatField(allow_null=True)
    cut_m = serializers.FloatField(allow_null=True)


class TodaySerializer(serializers.Serializer[Any]):
    """Today's mark, for the plan's aim."""

    n_run_throughs = serializers.IntegerField()
    n_jumps = serializers.IntegerField()
    start_mark_m = serializers.FloatField()
    bias_m = serializers.FloatField(help_text="Expected from it at the check mark.")
    bias_sd_m = serializers.FloatField()


class AimFirstSerializer(serializers.Serializer[Any]):
    """What `practice-focus` says of the aim, where it puts it first."""

    planned = serializers.ChoiceField(
        [aim_first.TOO_NEAR, aim_first.TOO_FAR, aim_first.GOOD],
        help_text="What the plan's aim is: `good` is one that is not met.",
    )
    planned_aim_m = serializers.FloatField()
    aim_m = serializers.FloatField(
        allow_null=True, help_text="The better one; null without distances, or if `good`."
    )
    gain_m = serializers.FloatField(
        allow_null=True, help_text="Worth on the mean of a competition."
    )
    start_mark_m = serializers.FloatField(
        allow_null=True, help_text="From where to run to try `aim_m`."
    )
    habit_m = serializers.FloatField(allow_null=True, help_text="Where the toe is expected now.")
    probability_no_jump = serializers.FloatField(help_text="As it is now.")


class NextAttemptSerializer(AnswerSerializer):
    """From which mark to run and where to aim in the next attempt, and why."""

    athlete = serializers.UUIDField()
    athlete_code = serializers.CharField()
    start_mark_m = serializers.FloatField(allow_null=True)
    aim_m = serializers.FloatField()
    aim_moves_m = serializers.FloatField(help_text="What of the mark is for another aim.")
    wind_mps = serializers.FloatField(allow_null=True, help_text="Mean reading of the session.")
    wind_moves_m = serializers.FloatField(help_text="What of the mark is for that wind.")
    contest = ContestSerializer(allow_null=True)
    mark = MarkFieldsSerializer()
    today = TodaySerializer(
        allow_null=True, help_text="From the warm-up and the jumps of the session."
    )
    aim = AimFieldsSerializer(allow_null=True)
    aim_first = AimFirstSerializer(
        allow_null=True,
        help_text="Outside of a competition, where the aim is what to put right first.",
    )


class NextAttemptsSerializer(serializers.Serializer[Any]):
    session = serializers.UUIDField()
    kind = serializers.ChoiceField(SessionKind.choices)
    results = NextAttemptSerializer(many=True, help_text="By athletes' codes.")
