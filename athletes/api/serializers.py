"""Athletes on the wire."""

from typing import Any

from rest_framework import serializers

from athletes.models import Consent, Foot, SprintTest
from clubs.models import Role
from common.api import fields
from common.api.serializers import ChangesSerializer, StrictSerializer


class AthleteSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    code = serializers.CharField()
    given_name = serializers.CharField()
    family_name = serializers.CharField()
    birth_date = serializers.DateField()
    take_off_foot = serializers.ChoiceField(Foot.choices, allow_null=True)
    shoe_length_m = serializers.FloatField(allow_null=True)
    archived_at = serializers.DateTimeField(allow_null=True)


class NewAthleteSerializer(StrictSerializer):
    code = fields.TextField(max_length=32, help_text='The club\'s own short code, like "A-17".')
    given_name = fields.TextField(max_length=80)
    family_name = fields.TextField(max_length=80)
    birth_date = fields.DayField()
    take_off_foot = fields.OneOfField(Foot.choices, allow_null=True, default=None)
    shoe_length_m = fields.NumberField(above=0.1, below=0.5, allow_null=True, default=None)


class AthleteChangesSerializer(ChangesSerializer):
    code = fields.TextField(max_length=32)
    given_name = fields.TextField(max_length=80)
    family_name = fields.TextField(max_length=80)
    birth_date = fields.DayField()
    take_off_foot = fields.OneOfField(Foot.choices, allow_null=True)
    shoe_length_m = fields.NumberField(above=0.1, below=0.5, allow_null=True)
    archived = fields.FlagField(help_text="Kept, and out of the way.")


class ImportOutcomeSerializer(serializers.Serializer[Any]):
    received = serializers.IntegerField()
    created = serializers.IntegerField()
    known = serializers.IntegerField(help_text="The club had them as the table has them.")
    changed = serializers.IntegerField()


class MeasurementSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    athlete = serializers.UUIDField(source="athlete_id")
    measured_date = serializers.DateField()
    height_m = serializers.FloatField()
    leg_length_m = serializers.FloatField(allow_null=True)


class NewMeasurementSerializer(StrictSerializer):
    measured_date = fields.DayField()
    height_m = fields.NumberField(above=0.8, below=2.6)
    leg_length_m = fields.NumberField(above=0.3, below=2.6, allow_null=True, default=None)


class MeasurementChangesSerializer(ChangesSerializer):
    measured_date = fields.DayField()
    height_m = fields.NumberField(above=0.8, below=2.6)
    leg_length_m = fields.NumberField(above=0.3, below=2.6, allow_null=True)


class SplitSerializer(StrictSerializer):
    at_m = fields.NumberField(min_value=0, below=200.0, help_text="Metres from the start.")
    time_s = fields.NumberField(min_value=0, below=60.0)


class SprintTestSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    athlete = serializers.UUIDField(source="athlete_id")
    tested_date = serializers.DateField()
    start = serializers.ChoiceField(SprintTest.Start.choices)
    splits = SplitSerializer(many=True)


class NewSprintTestSerializer(StrictSerializer):
    tested_date = fields.DayField()
    start = fields.OneOfField(SprintTest.Start.choices)
    splits = fields.ListField(child=SplitSerializer(), min_length=2, max_length=20)


class SprintTestChangesSerializer(ChangesSerializer):
    tested_date = fields.DayField()
    start = fields.OneOfField(SprintTest.Start.choices)
    splits = fields.ListField(child=SplitSerializer(), min_length=2, max_length=20)


class ConsentSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    athlete = serializers.UUIDField(source="athlete_id")
    purpose = serializers.ChoiceField(Consent.Purpose.choices)
    given_by = serializers.ChoiceField(Consent.GivenBy.choices)
    text_version = serializers.CharField(help_text="Which text was agreed to.")
    from_date = serializers.DateField()
    withdrawn_date = serializers.DateField(
        allow_null=True, help_text="From this day on it holds no more."
    )


class NewConsentSerializer(StrictSerializer):
    athlete = fields.IdField()
    purpose = fields.OneOfField(Consent.Purpose.choices)
    given_by = fields.OneOfField(Consent.GivenBy.choices)
    text_version = fields.TextField(max_length=20)
    from_date = fields.DayField()


class WithdrawalSerializer(StrictSerializer):
    withdrawn_date = fields.DayField()


class MemberSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    email = serializers.EmailField(source="user.email")
    role = serializers.ChoiceField(Role.choices)
    athlete = serializers.UUIDField(
        source="athlete_id", allow_null=True, help_text="Which athlete of the club they are."
    )
    ended_at = serializers.DateTimeField(allow_null=True)


class NewMemberSerializer(StrictSerializer):
    email = fields.EmailField(max_length=254)
    role = fields.OneOfField(Role.choices)
    athlete = fields.IdField(
        allow_null=True,
        default=None,
        help_text="For the role athlete: whose figures they are to see.",
    )


class MemberChangesSerializer(ChangesSerializer):
    role = fields.OneOfField(Role.choices)
    athlete = fields.IdField(allow_null=True)
    ended = fields.FlagField()


class SquadMemberSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    squad = serializers.UUIDField(source="squad_id")
    athlete = serializers.UUIDField(source="athlete_id")
    from_date = serializers.DateField()
    until_date = serializers.DateField(allow_null=True, help_text="The last day.")


class NewSquadMemberSerializer(StrictSerializer):
    athlete = fields.IdField()
    from_date = fields.DayField(required=False, help_text="The first day: today, unless given.")
    until_date = fields.DayField(allow_null=True, default=None)


class DaysChangesSerializer(ChangesSerializer):
    from_date = fields.DayField()
    until_date = fields.DayField(allow_null=True, help_text="The last day; null for no end.")


class CoachAssignmentSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    coach = serializers.UUIDField(source="coach_id", help_text="A member.")
    squad = serializers.UUIDField(source="squad_id", allow_null=True)
    athlete = serializers.UUIDField(source="athlete_id", allow_null=True)
    from_date = serializers.DateField()
    until_date = serializers.DateField(allow_null=True, help_text="The last day.")


class NewCoachAssignmentSerializer(StrictSerializer):
    coach = fields.IdField(help_text="A member with the role coach.")
    squad = fields.IdField(allow_null=True, default=None)
    athlete = fields.IdField(allow_null=True, default=None)
    from_date = fields.DayField(required=False, help_text="The first day: today, unless given.")
    until_date = fields.DayField(allow_null=True, default=None)
