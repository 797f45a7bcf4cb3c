"""Clubs, their places and tokens on the wire."""

from typing import Any

from rest_framework import serializers

from clubs.models import Event, SourceKind
from common.api import fields
from common.api.serializers import ChangesSerializer, StrictSerializer


class ClubSerializer(serializers.Serializer[Any]):
    slug = serializers.CharField()
    name = serializers.CharField()
    country = serializers.CharField()
    time_zone = serializers.CharField()


class ClubChangesSerializer(ChangesSerializer):
    name = fields.TextField(max_length=120)
    country = fields.CountryField()
    time_zone = fields.TextField(max_length=64, help_text="IANA name, such as Europe/Vienna.")


class SquadSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    name = serializers.CharField()
    archived_at = serializers.DateTimeField(allow_null=True)


class NewSquadSerializer(StrictSerializer):
    name = fields.TextField(max_length=80)


class SquadChangesSerializer(ChangesSerializer):
    name = fields.TextField(max_length=80)
    archived = fields.FlagField()


class BoardSerializer(serializers.Serializer[Any]):
    event = serializers.ChoiceField(Event.choices)
    to_pit_m = serializers.FloatField()


class RunwaySerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    name = serializers.CharField()
    surface = serializers.CharField()
    indoor = serializers.BooleanField()
    altitude_m = serializers.FloatField()
    direction_deg = serializers.FloatField(allow_null=True)
    length_m = serializers.FloatField(allow_null=True)
    boards = BoardSerializer(many=True)


class NewBoardSerializer(StrictSerializer):
    event = fields.OneOfField(Event.choices)
    to_pit_m = fields.NumberField(
        min_value=0.5, max_value=30, help_text="From the take-off line to the near end of the pit."
    )


class NewRunwaySerializer(StrictSerializer):
    name = fields.TextField(max_length=80)
    surface = fields.TextField(max_length=60)
    indoor = fields.FlagField(default=False)
    altitude_m = fields.NumberField(min_value=-500, max_value=6000, default=0.0)
    direction_deg = fields.NumberField(
        min_value=0,
        max_value=359.999,
        allow_null=True,
        default=None,
        help_text="Compass direction of running.",
    )
    length_m = fields.NumberField(min_value=10, max_value=100, allow_null=True, default=None)
    boards = fields.ListField(child=NewBoardSerializer(), default=list, max_length=20)


class RunwayChangesSerializer(ChangesSerializer):
    name = fields.TextField(max_length=80)
    surface = fields.TextField(max_length=60)
    indoor = fields.FlagField()
    altitude_m = fields.NumberField(min_value=-500, max_value=6000)
    direction_deg = fields.NumberField(min_value=0, max_value=359.999, allow_null=True)
    length_m = fields.NumberField(min_value=10, max_value=100, allow_null=True)
    boards = fields.ListField(child=NewBoardSerializer(), max_length=20)


class SourceSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    name = serializers.CharField()
    kind = serializers.ChoiceField(SourceKind.choices)
    closed_at = serializers.DateTimeField(allow_null=True)
    created_at = serializers.DateTimeField()


class NewSourceSerializer(StrictSerializer):
    name = fields.TextField(max_length=80)
    kind = fields.OneOfField([SourceKind.DEVICE, SourceKind.SCRIPT, SourceKind.IMPORT])


class SourceChangesSerializer(ChangesSerializer):
    name = fields.TextField(max_length=80)
    closed = fields.FlagField()


class TokenSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    name = serializers.CharField()
    scopes = serializers.ListField(child=serializers.CharField())
    created_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField(allow_null=True)
    revoked_at = serializers.DateTimeField(allow_null=True)
    last_used_date = serializers.DateField(allow_null=True)


class NewTokenSerializer(StrictSerializer):
    name = fields.TextField(max_length=80)
    scopes = fields.ListField(child=fields.TextField(max_length=32), max_length=20)
    expires_at = fields.MomentField(required=False, allow_null=True, default=None)


class TokenWithSecretSerializer(TokenSerializer):
    secret = serializers.CharField(help_text="Shown this once and stored nowhere.")


class AuditEntrySerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    at = serializers.DateTimeField()
    actor_kind = serializers.CharField(
        help_text="token; membership, for the admin pages; or system. More may come."
    )
    actor = serializers.UUIDField(source="actor_id", allow_null=True)
    member = serializers.UUIDField(
        source="member_id", allow_null=True, help_text="The person whose token it was."
    )
    source = serializers.UUIDField(  # type: ignore[assignment]  # the framework's own attribute
        source="source_id", allow_null=True, help_text="The source whose token it was."
    )
    action = serializers.CharField()
    subject_kind = serializers.CharField()
    subjects = serializers.ListField(
        source="subject_ids", child=serializers.UUIDField(), help_text="Ids of the rows."
    )
    field_names = serializers.ListField(child=serializers.CharField())
    counts = serializers.DictField(
        child=serializers.IntegerField(), help_text="How many rows, by outcome."
    )
    request_id = serializers.CharField(help_text="As in the answer's X-Request-ID; may be empty.")
