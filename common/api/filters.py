"""Filters that are declared, and refuse what they cannot read."""

from datetime import UTC, datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django_filters import rest_framework as filters
from rest_framework.request import Request

from common.api.errors import InvalidParameterError
from common.errors import Fault


class _MomentField(forms.DateTimeField):
    """A moment (ISO 8601) that says its zone."""

    def to_python(self, value: Any) -> datetime | None:
        if value in self.empty_values:
            return None
        try:
            moment = datetime.fromisoformat(value)
        except ValueError as error:
            raise ValidationError("Enter a time such as 2026-05-02T09:14:07Z.") from error
        if moment.utcoffset() is None:
            raise ValidationError("The time lacks its zone; a + is written %2B.")
        try:
            return moment.astimezone(UTC)
        except OverflowError as error:
            raise ValidationError("The time lies outside the years 1 to 9999.") from error


class MomentFilter(filters.DateTimeFilter):
    """Compare with a moment; a time without its zone is refused."""

    field_class = _MomentField


class _FlagField(forms.Field):
    """True or false; the framework's own field takes any other word for "not asked"."""

    def to_python(self, value: Any) -> bool | None:
        if value in self.empty_values:
            return None
        if value not in {"true", "false"}:
            raise ValidationError("Enter true or false.")
        return bool(value == "true")


class FlagFilter(filters.BooleanFilter):
    """Filter by a yes or no; any other word is refused."""

    field_class = _FlagField

    def __init__(self, *args: Any, **options: Any) -> None:
        # The framework's widget would have read the word already.
        super().__init__(*args, **{"widget": forms.TextInput, **options})


class StrictFilterBackend(filters.DjangoFilterBackend):
    """Apply a view's filters; a value that cannot be read is refused, naming the parameter."""

    def filter_queryset(
        self, request: Request, queryset: QuerySet[Any], view: Any
    ) -> QuerySet[Any]:
        filterset = self.get_filterset(request, queryset, view)
        if filterset is None:
            return queryset
        if not filterset.is_valid():
            faults = [
                Fault(f"/{name}", InvalidParameterError.code, str(error))
                for name, errors in filterset.errors.items()
                for error in errors
            ]
            raise InvalidParameterError(faults[0].detail, faults=faults)
        filtered: QuerySet[Any] = filterset.qs
        return filtered


def parameter_names(view: Any) -> frozenset[str]:
    """Return the query parameters that the filters of `view` know."""
    filterset = getattr(view, "filterset_class", None)
    return frozenset() if filterset is None else frozenset(filterset.base_filters)
