"""What a search on a page of approaches looks at, and whose rows a page shows."""

from typing import Any
from uuid import UUID

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest

from athletes.models import Athlete

OF_ATHLETE = ("athlete__code", "athlete__given_name", "athlete__family_name")
OF_APPROACHS_ATHLETE = tuple(f"approach__{name}" for name in ("code", *OF_ATHLETE))


class ChosenAthlete(admin.SimpleListFilter):
    """The athlete whom a link chose. All others are found by the search: a list would be long."""

    title = "athlete"
    parameter_name = "athlete__id__exact"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[Any, str]]:
        chosen = self._chosen_id()
        found = Athlete.objects.filter(id=chosen) if chosen is not None else Athlete.objects.none()
        return [(athlete.id, str(athlete)) for athlete in found]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Any]) -> QuerySet[Any]:
        if self.value() is None:
            return queryset
        chosen = self._chosen_id()
        return queryset.none() if chosen is None else queryset.filter(athlete_id=chosen)

    def _chosen_id(self) -> UUID | None:
        try:
            return UUID(self.value() or "")
        except ValueError:
            return None
