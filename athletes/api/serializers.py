"""Athletes on the wire."""

from typing import Any

from rest_framework import serializers

from athletes.models import Foot
from common.api import fields
from common.api.serializers import StrictSerializer


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
