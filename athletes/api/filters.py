"""Filters over athletes and what is kept of them."""

from django_filters import rest_framework as filters

from athletes.models import Athlete, BodyMeasurement, Consent, SprintTest
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


class MeasurementFilter(filters.FilterSet):
    since = filters.DateFilter(field_name="measured_date", lookup_expr="gte")
    until = filters.DateFilter(field_name="measured_date", lookup_expr="lte")

    class Meta:
        model = BodyMeasurement
        fields = ("since", "until")


class SprintTestFilter(filters.FilterSet):
    since = filters.DateFilter(field_name="tested_date", lookup_expr="gte")
    until = filters.DateFilter(field_name="tested_date", lookup_expr="lte")
    start = filters.ChoiceFilter(choices=SprintTest.Start.choices)

    class Meta:
        model = SprintTest
        fields = ("since", "until", "start")


class ConsentFilter(filters.FilterSet):
    athlete = filters.UUIDFilter(field_name="athlete_id")
    purpose = filters.ChoiceFilter(choices=Consent.Purpose.choices)
    withdrawn = FlagFilter(field_name="withdrawn_date", lookup_expr="isnull", exclude=True)

    class Meta:
        model = Consent
        fields = ("athlete", "purpose", "withdrawn")
