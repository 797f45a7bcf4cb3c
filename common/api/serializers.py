"""Serializers that take nothing they do not know."""

from typing import Any

from rest_framework import serializers

from common.api.problems import MOST_FAULTS


class StrictSerializer(serializers.Serializer[Any]):
    """Refuse unknown fields, naming each, instead of ignoring them in silence."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, dict):
            unknown = [name for name in data if name not in self.fields]
            if unknown:
                raise serializers.ValidationError(
                    {
                        name: serializers.ErrorDetail("There is no such field.", "unknown_field")
                        for name in unknown[:MOST_FAULTS]
                    }
                )
        return super().to_internal_value(data)


class ChangesSerializer(StrictSerializer):
    """Fields to change: any of them, and at least one."""

    def get_fields(self) -> dict[str, Any]:
        # Not `partial`, which would also excuse the items of a list from fields that they need.
        fields = super().get_fields()
        for field in fields.values():
            field.required = False
        return fields

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not attrs:
            raise serializers.ValidationError("Name at least one field to change.", "empty")
        return attrs


class ProblemFaultSerializer(serializers.Serializer[Any]):
    pointer = serializers.CharField(help_text="JSON pointer (RFC 6901) into what was sent.")
    code = serializers.CharField()
    detail = serializers.CharField()


class ProblemSerializer(serializers.Serializer[Any]):
    """Problem details (RFC 9457)."""

    type = serializers.CharField(help_text="Where the code is explained.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    code = serializers.CharField(help_text="Stable; new ones may come.")
    request_id = serializers.CharField()

    def get_fields(self) -> dict[str, Any]:
        # As a class attribute this would hide the serializer's own `errors`.
        return {**super().get_fields(), "errors": ProblemFaultSerializer(many=True)}
