"""A writable nested serializer, as the REST framework's guide on relations writes it.

Source: Django REST framework, API guide, "Serializer relations", section "Writable nested
serializers".
"""

from typing import Any

from rest_framework import serializers

from tests.bench.stock.models import Attempt, Footfall, Gate, Point


class FootfallSerializer(serializers.ModelSerializer[Footfall]):
    class Meta:
        model = Footfall
        fields = ["number", "toe_m", "touchdown_s", "toe_off_s", "contact"]


class GateSerializer(serializers.ModelSerializer[Gate]):
    class Meta:
        model = Gate
        fields = ["at_m", "time_s"]


class AttemptSerializer(serializers.ModelSerializer[Attempt]):
    footfalls = FootfallSerializer(many=True)
    gates = GateSerializer(many=True)

    class Meta:
        model = Attempt
        fields = [
            "club",
            "source",
            "external_id",
            "athlete",
            "approach",
            "plan",
            "session",
            "started_at",
            "finish",
            "start_mark_m",
            "wind_mps",
            "outcome",
            "official_m",
            "footfalls",
            "gates",
        ]

    def create(self, validated_data: dict[str, Any]) -> Attempt:
        footfalls = validated_data.pop("footfalls")
        gates = validated_data.pop("gates")
        attempt = Attempt.objects.create(**validated_data)
        for footfall in footfalls:
            Footfall.objects.create(attempt=attempt, **footfall)
        for gate in gates:
            Gate.objects.create(attempt=attempt, **gate)
        return attempt


class PointSerializer(serializers.ModelSerializer[Point]):
    started_at = serializers.DateTimeField(source="attempt.started_at")

    class Meta:
        model = Point
        fields = ["attempt", "started_at", "n", "bias_m", "spread_m"]
