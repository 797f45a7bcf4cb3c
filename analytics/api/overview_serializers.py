"""The overview, as the schema tells of it; it is written directly."""

from typing import Any

from rest_framework import serializers

from analytics.answers.overview import Need, Urgency
from approaches.models import SessionKind


class NeedSerializer(serializers.Serializer[Any]):
    """Why somebody is needed, with its number."""

    code = serializers.ChoiceField([each.value for each in Need])
    urgency = serializers.ChoiceField([each.value for each in Urgency])
    for_whom = serializers.ChoiceField(["coach", "admin"])
    approach = serializers.UUIDField(allow_null=True, help_text="Null where it is of the athlete.")
    approach_code = serializers.CharField(allow_null=True)
    alert = serializers.UUIDField(allow_null=True)
    numbers = serializers.DictField(
        child=serializers.JSONField(), help_text="Units in the names; null where not known."
    )
    text = serializers.CharField()


class WatchedSerializer(serializers.Serializer[Any]):
    """An athlete, with what calls for somebody."""

    athlete = serializers.UUIDField()
    athlete_code = serializers.CharField()
    n = serializers.IntegerField(help_text="Attempts of the run-ups in use.")
    as_of = serializers.DateTimeField(
        allow_null=True, help_text="When the oldest of the figures was computed."
    )
    stale = serializers.BooleanField(help_text="Newer attempts wait to be computed.")
    last_attempt_at = serializers.DateTimeField(allow_null=True)
    urgency = serializers.ChoiceField(
        [each.value for each in Urgency], allow_null=True, help_text="Of the first reason."
    )
    text = serializers.CharField(help_text="The first reason, or that there is none.")
    caution = serializers.CharField(allow_null=True)
    reasons = NeedSerializer(many=True, help_text="The most urgent first.")


class SessionAheadSerializer(serializers.Serializer[Any]):
    """A session of today or of the next days."""

    id = serializers.UUIDField()
    code = serializers.CharField()
    held_date = serializers.DateField()
    kind = serializers.ChoiceField(SessionKind.choices)


class OverviewSerializer(serializers.Serializer[Any]):
    squad = serializers.UUIDField(allow_null=True)
    today = serializers.DateField(help_text="The day it is where the club is.")
    n = serializers.IntegerField(help_text="Athletes.")
    as_of = serializers.DateTimeField(
        allow_null=True, help_text="When the oldest of the figures was computed."
    )
    stale = serializers.BooleanField(help_text="Newer attempts wait to be computed.")
    method = serializers.IntegerField(help_text="Version of the formulas.")
    text = serializers.CharField()
    n_today = serializers.IntegerField(help_text="Athletes who need somebody today.")
    n_soon = serializers.IntegerField(help_text="Others with something to see to soon.")
    days_ahead = serializers.IntegerField()
    ahead = SessionAheadSerializer(
        many=True, help_text="The club's sessions of so many days; who takes part nobody says."
    )
    results = WatchedSerializer(many=True, help_text="The most urgent first.")
