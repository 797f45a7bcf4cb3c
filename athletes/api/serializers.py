"""Athletes on the wire."""

from typing import Any

from rest_framework import serializers

from athletes.models import Consent, Foot, SprintTest
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
    at_m = fields.NumberField(above=-0.001, below=200.0, help_text="Metres from the start.")
    time_s = fields.NumberField(above=-0.001, below=60.0)


class SprintTestSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    athlete = serializers.UUIDField(source="athlete_id")
    tested_date = serializers.DateField()
    start = serializers.ChoiceField(SprintTest.Start.choices)
    splits = SplitSerializer(many=True)


class NewSprintTestSerializer(StrictSerializer):
    tested_date = fields.DayField()
    start = fields.OneOfField(SprintTest.Start.choices)
    splits = serializers.ListField(child=SplitSerializer(), min_length=2, max_length=20)


class SprintTestChangesSerializer(ChangesSerializer):
    tested_date = fields.DayField()
    start = fields.OneOfField(SprintTest.Start.choices)
    splits = serializers.ListField(child=SplitSerializer(), min_length=2, max_length=20)


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
