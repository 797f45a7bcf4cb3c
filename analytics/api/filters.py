"""Filters over alerts."""

from django_filters import rest_framework as filters

from analytics.models import Alert, AlertKind
from approaches.models import FinishClass
from common.api.filters import FlagFilter


class AlertFilter(filters.FilterSet):
    open = FlagFilter(field_name="closed_at", lookup_expr="isnull")
    kind = filters.ChoiceFilter(choices=AlertKind.choices)
    finish = filters.ChoiceFilter(field_name="finish_class", choices=FinishClass.choices)
    approach = filters.UUIDFilter(field_name="approach_id")
    athlete = filters.UUIDFilter(field_name="approach__athlete_id")

    class Meta:
        model = Alert
        fields = ("open", "kind", "finish", "approach", "athlete")
