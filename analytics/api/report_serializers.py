"""Season reports, as the schema tells of them; they are written directly."""

from typing import Any

from drf_spectacular.utils import PolymorphicProxySerializer
from rest_framework import serializers

from analytics.answers.squad_season import Differs
from analytics.api.advice_serializers import TallySerializer
from analytics.api.answer_serializers import ReasonSerializer, ToldSerializer
from analytics.api.serializers import IntervalSerializer, NotEnoughAttemptsSerializer, figure
from analytics.core.season_ends import Change
from analytics.models import AlertKind
from approaches.models import SessionKind, StartStyle
from clubs.models import Event
from common.api import fields
from common.api.serializers import StrictSerializer

_CHANGES = [each.value for each in Change]


class SectionSerializer(serializers.Serializer[Any]):
    """A part of a report: what it says, before its figures."""

    text = serializers.CharField()


class SeasonMeanSerializer(serializers.Serializer[Any]):
    """A mean at the start of the season and at its end, in the unit that the field's name says."""

    n_first = serializers.IntegerField()
    n_last = serializers.IntegerField()
    first = serializers.FloatField()
    first_interval = IntervalSerializer()
    last = serializers.FloatField()
    last_interval = IntervalSerializer()
    change = serializers.FloatField(help_text="The last less the first.")
    change_interval = IntervalSerializer()
    shown = serializers.ChoiceField(_CHANGES)


class SeasonBoardChangeSerializer(serializers.Serializer[Any]):
    """Bias and spread at the board at both ends of the season."""

    n_first = serializers.IntegerField()
    n_last = serializers.IntegerField()
    bias_m = SeasonMeanSerializer()
    sd_first_m = serializers.FloatField()
    sd_first_interval = IntervalSerializer()
    sd_last_m = serializers.FloatField()
    sd_last_interval = IntervalSerializer()
    sd_ratio = serializers.FloatField(allow_null=True)
    sd_ratio_interval = IntervalSerializer(allow_null=True)
    spread_shown = serializers.ChoiceField(_CHANGES)


class SeasonRevisionSerializer(serializers.Serializer[Any]):
    plan = serializers.UUIDField()
    revision = serializers.IntegerField()
    valid_from = serializers.DateTimeField()
    start_mark_m = serializers.FloatField()
    moved_m = serializers.FloatField(
        allow_null=True, help_text="Against the one before, negative toward the pit."
    )
    aim_m = serializers.FloatField()
    reason = serializers.CharField(allow_blank=True)
    advice = serializers.UUIDField(allow_null=True)
    n = serializers.IntegerField(help_text="Attempts of the season under it.")


class SeasonPlansSerializer(SectionSerializer):
    revisions = SeasonRevisionSerializer(many=True)


class SeasonConsistencySerializer(SectionSerializer):
    change = figure(SeasonBoardChangeSerializer)


class LevelShiftSerializer(serializers.Serializer[Any]):
    """A lasting shift of the level, and the session with which it probably came."""

    first_session_date = serializers.DateField()
    earliest_date = serializers.DateField()
    latest_date = serializers.DateField()
    change_m = serializers.FloatField()
    interval_m = IntervalSerializer()
    p = serializers.FloatField()


class NoShiftSerializer(serializers.Serializer[Any]):
    """None is shown."""

    n_sessions = serializers.IntegerField()
    p = serializers.FloatField()


class SeasonShiftSerializer(SectionSerializer):
    found = PolymorphicProxySerializer(
        component_name="LevelShiftOrNone",
        serializers=[LevelShiftSerializer, NoShiftSerializer, NotEnoughAttemptsSerializer],
        resource_type_field_name=None,
    )


class ShareSerializer(serializers.Serializer[Any]):
    n = serializers.IntegerField(help_text="Attempts of which it is known.")
    k = serializers.IntegerField()
    share = serializers.FloatField()
    interval = IntervalSerializer()


class SeasonBoardSerializer(SectionSerializer):
    on_board = ShareSerializer(allow_null=True)
    no_jumps = ShareSerializer(allow_null=True)


class KindShareSerializer(serializers.Serializer[Any]):
    kind = serializers.ChoiceField(SessionKind.choices)
    n_sessions = serializers.IntegerField()
    no_jumps = ShareSerializer()


class SeasonKindsSerializer(SectionSerializer):
    by_kind = KindShareSerializer(many=True)


class SeasonRhythmSerializer(SectionSerializer):
    length_ratio_2 = figure(SeasonMeanSerializer)
    length_ratio_1 = figure(SeasonMeanSerializer)


class SeasonSpeedSerializer(SectionSerializer):
    speed_6_1_mps = figure(SeasonMeanSerializer)
    speed_gain_mps = figure(SeasonMeanSerializer)


class SeasonNextSerializer(SectionSerializer):
    reasons = ReasonSerializer(many=True)
    would_change = serializers.ListField(child=serializers.CharField())


class SeasonRunUpSerializer(serializers.Serializer[Any]):
    """The season of one run-up; jumps and pop-ups, run-throughs are only counted."""

    approach = serializers.UUIDField()
    code = serializers.CharField()
    event = serializers.ChoiceField(Event.choices)
    steps = serializers.IntegerField()
    start_style = serializers.ChoiceField(StartStyle.choices)
    n = serializers.IntegerField()
    n_sessions = serializers.IntegerField()
    n_run_throughs = serializers.IntegerField()
    first_date = serializers.DateField(allow_null=True)
    last_date = serializers.DateField(allow_null=True)
    plans = SeasonPlansSerializer()
    consistency = SeasonConsistencySerializer()
    shift = SeasonShiftSerializer()
    board = SeasonBoardSerializer()
    no_jumps = SeasonKindsSerializer()
    rhythm = SeasonRhythmSerializer()
    speed = SeasonSpeedSerializer()
    next = SeasonNextSerializer(help_text="What practice-focus says of the season's last attempts.")


class BestSerializer(serializers.Serializer[Any]):
    attempt = serializers.UUIDField()
    held_date = serializers.DateField()
    session_code = serializers.CharField()
    kind = serializers.ChoiceField(SessionKind.choices)
    approach_code = serializers.CharField()
    steps = serializers.IntegerField()
    distance_m = serializers.FloatField()
    toe_m = serializers.FloatField(allow_null=True)
    wind_mps = serializers.FloatField(allow_null=True)


class BestsSerializer(SectionSerializer):
    event = serializers.ChoiceField(Event.choices)
    n = serializers.IntegerField(help_text="Full jumps with an official distance.")
    official = BestSerializer(many=True, help_text="Each farther than all before it.")
    effective = BestSerializer(many=True, help_text="Official plus toe-to-board distance.")


class CompetitionSerializer(SectionSerializer):
    session = serializers.UUIDField()
    code = serializers.CharField()
    held_date = serializers.DateField()
    approach = serializers.UUIDField()
    approach_code = serializers.CharField()
    n = serializers.IntegerField(help_text="Jumps; a baulk is none.")
    n_no_jumps = serializers.IntegerField()
    best_m = serializers.FloatField(allow_null=True)
    best_toe_m = serializers.FloatField(allow_null=True)
    best_effective_m = serializers.FloatField(allow_null=True)
    n_measured = serializers.IntegerField()
    mean_error_m = serializers.FloatField(allow_null=True)
    wind_low_mps = serializers.FloatField(allow_null=True)
    wind_high_mps = serializers.FloatField(allow_null=True)
    start_marks_m = serializers.ListField(
        child=serializers.FloatField(),
        allow_null=True,
        help_text="Of those used, the nearest and the farthest.",
    )


class CompetitionsSerializer(SectionSerializer):
    results = CompetitionSerializer(many=True)


class LengthUsedSerializer(serializers.Serializer[Any]):
    event = serializers.ChoiceField(Event.choices)
    steps = serializers.IntegerField()
    approach_code = serializers.CharField()
    n = serializers.IntegerField()
    first_date = serializers.DateField()
    last_date = serializers.DateField()
    best_m = serializers.FloatField(allow_null=True)


class LengthsUsedSerializer(SectionSerializer):
    results = LengthUsedSerializer(many=True, help_text="In the order in which each began.")


class HeightSerializer(serializers.Serializer[Any]):
    measured_date = serializers.DateField()
    height_m = serializers.FloatField()


class SeasonGrowthSerializer(SectionSerializer):
    heights = HeightSerializer(
        many=True, help_text="The last one before the season stands for its first day."
    )
    grown_m = serializers.FloatField(allow_null=True)
    velocity_m_per_year = serializers.FloatField(allow_null=True)
    velocity_interval = IntervalSerializer(allow_null=True)
    caution = serializers.CharField()


class SeasonLoadSerializer(SectionSerializer):
    n = serializers.IntegerField(help_text="Full jumps from the longest run-up, or nearly so.")
    longest_steps = serializers.IntegerField(allow_null=True)
    most_in_session = serializers.IntegerField()
    session_limit = serializers.IntegerField()
    most_in_week = serializers.IntegerField()
    first_week_from_date = serializers.DateField()
    weeks = serializers.ListField(
        child=serializers.IntegerField(), help_text="Of seven days; the last ends with the season."
    )
    caution = serializers.CharField()


class SeasonAlertSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    kind = serializers.ChoiceField(AlertKind.choices)
    text = serializers.CharField(help_text="What was found when it opened.")
    approach = serializers.UUIDField()
    approach_code = serializers.CharField(allow_null=True)
    opened_at = serializers.DateTimeField()
    closed_at = serializers.DateTimeField(allow_null=True)
    closed_because = serializers.CharField(allow_blank=True)


class SeasonAlertsSerializer(SectionSerializer):
    results = SeasonAlertSerializer(many=True)


class SeasonDecisionSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    kind = serializers.CharField()
    approach = serializers.UUIDField()
    approach_code = serializers.CharField(allow_null=True)
    answer = serializers.CharField()
    decision = serializers.CharField()
    decided_at = serializers.DateTimeField()
    verdict = serializers.CharField(
        allow_null=True, help_text="Null where nothing was claimed that could be checked."
    )
    afterwards_text = serializers.CharField(allow_null=True)


class SeasonAdviceSerializer(SectionSerializer):
    results = SeasonDecisionSerializer(many=True)
    tallies = TallySerializer(many=True)


class NotKnownSerializer(SectionSerializer):
    code = serializers.CharField()
    approach = serializers.UUIDField(allow_null=True)


class SeasonReportSerializer(SectionSerializer):
    """What a season brought to one athlete."""

    athlete = serializers.UUIDField()
    athlete_code = serializers.CharField()
    from_date = serializers.DateField()
    to_date = serializers.DateField()
    as_of = serializers.DateTimeField(
        allow_null=True, help_text="When the newest of its attempts was stored or corrected."
    )
    n = serializers.IntegerField(help_text="Jumps and pop-ups of the season.")
    n_sessions = serializers.IntegerField()
    stale = serializers.BooleanField(help_text="Alerts may be behind: attempts wait.")
    method = serializers.IntegerField(help_text="Version of the formulas.")
    caution = serializers.CharField()
    run_ups = SeasonRunUpSerializer(many=True)
    bests = BestsSerializer(many=True)
    competitions = CompetitionsSerializer()
    lengths = LengthsUsedSerializer()
    growth = SeasonGrowthSerializer()
    load = SeasonLoadSerializer()
    alerts = SeasonAlertsSerializer()
    advice = SeasonAdviceSerializer()
    unknown = NotKnownSerializer(many=True, help_text="What the season does not tell, and why.")


class SquadSeasonAskedSerializer(StrictSerializer):
    """Which days; without the first a year that ends with the last, without the last today."""

    from_date = fields.DayField(required=False)
    to_date = fields.DayField(required=False)


class OwnFiguresSerializer(serializers.Serializer[Any]):
    """What the own attempts say alone, each with its interval of 95 %."""

    n = serializers.IntegerField()
    bias_m = serializers.FloatField()
    bias_low_m = serializers.FloatField()
    bias_high_m = serializers.FloatField()
    sd_m = serializers.FloatField()
    sd_low_m = serializers.FloatField()
    sd_high_m = serializers.FloatField()


class DrawnSerializer(serializers.Serializer[Any]):
    """A figure after it was drawn toward the squad, with its interval of 95 %."""

    value = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    own_weight = serializers.FloatField(help_text="What is left of the distance to the squad.")
    differs = serializers.ChoiceField([each.value for each in Differs])


class UsualSerializer(serializers.Serializer[Any]):
    """What is usual in the squad, and by how much athletes truly differ (of spreads: log SD)."""

    n_athletes = serializers.IntegerField()
    squad_value = serializers.FloatField()
    squad_sd = serializers.FloatField()


class SquadLineSerializer(serializers.Serializer[Any]):
    """An athlete's season in few figures, of the run-up with most jumps and pop-ups."""

    athlete = serializers.UUIDField()
    athlete_code = serializers.CharField()
    approach_code = serializers.CharField(allow_null=True)
    event = serializers.ChoiceField(Event.choices, allow_null=True)
    steps = serializers.IntegerField(allow_null=True)
    n = serializers.IntegerField()
    n_sessions = serializers.IntegerField()
    n_competitions = serializers.IntegerField()
    on_board = ShareSerializer(allow_null=True)
    no_jumps = ShareSerializer(allow_null=True)
    spread_shown = serializers.ChoiceField(
        _CHANGES, allow_null=True, help_text="The end of the season against its start."
    )
    best_m = serializers.FloatField(allow_null=True)
    grown_m = serializers.FloatField(allow_null=True)
    most_in_session = serializers.IntegerField()
    most_in_week = serializers.IntegerField()
    own = OwnFiguresSerializer(allow_null=True)
    bias_m = DrawnSerializer(allow_null=True)
    spread_m = DrawnSerializer(allow_null=True)


class SquadSeasonSerializer(ToldSerializer):
    """A squad's season; athletes in the order of their codes, for no figure ranks them."""

    squad = serializers.UUIDField()
    from_date = serializers.DateField()
    to_date = serializers.DateField()
    as_of = serializers.DateTimeField(allow_null=True)
    n = serializers.IntegerField(help_text="Jumps and pop-ups of the run-ups that are told of.")
    method = serializers.IntegerField()
    usual_spread_m = figure(UsualSerializer)
    usual_bias_m = figure(UsualSerializer)
    results = SquadLineSerializer(many=True)
