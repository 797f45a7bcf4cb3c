"""Filters over athletes."""

from django_filters import rest_framework as filters

from athletes.models import Athlete
from common.api.filters import FlagFilter


class AthleteFilter(filters.FilterSet):
    code = filters.CharFilter(help_text="The club's own code.")
    squad = filters.UUIDFilter(method="in_squad", help_text="Members of this squad at present.")
    archived = FlagFilter(field_name="archived_at", lookup_expr="isnull", exclude=True)

    class Meta:
        model = Athlete
        fields = ("code", "squad", "archived")

    def in_squad(self, queryset, name, value):  # type: ignore[no-untyped-def]  # django-filter carries no types
        return queryset.filter(squad_times__squad_id=value, squad_times__until_date__isnull=True)
