"""Filters that are declared, and refuse what they cannot read."""

from typing import Any

from django.db.models import QuerySet
from django_filters import rest_framework as filters
from rest_framework.request import Request

from common.api.errors import InvalidParameterError
from common.errors import Fault


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
