"""Filters over alerts."""

from django_filters import rest_framework as filters

from analytics import selectors
from analytics.models import Advice, AdviceDecision, AdviceKind, Alert, AlertKind
from approaches.models import FinishClass
from athletes.api.filters import SquadFilter
from clubs.selectors import today_at
from common.api.filters import FlagFilter


class AlertFilter(filters.FilterSet):
    open = FlagFilter(field_name="closed_at", lookup_expr="isnull")
    acknowledged = FlagFilter(field_name="acknowledged_at", lookup_expr="isnull", exclude=True)
    put_off = FlagFilter(method="that_waits", help_text="Its day is still to come.")
    kind = filters.ChoiceFilter(choices=AlertKind.choices)
    finish = filters.ChoiceFilter(field_name="finish_class", choices=FinishClass.choices)
    approach = filters.UUIDFilter(field_name="approach_id")
    athlete = filters.UUIDFilter(field_name="approach__athlete_id")
    squad = SquadFilter(field_name="approach__athlete_id")

    class Meta:
        model = Alert
        fields = (
            "open",
            "acknowledged",
            "put_off",
            "kind",
            "finish",
            "approach",
            "athlete",
            "squad",
        )

    def that_waits(self, queryset, name, value):  # type: ignore[no-untyped-def]  # django-filter carries no types
        waits = selectors.put_off_on(today_at(self.request.user.club))
        return queryset.filter(waits) if value else queryset.exclude(waits)


class AdviceFilter(filters.FilterSet):
    kind = filters.ChoiceFilter(choices=AdviceKind.choices)
    finish = filters.ChoiceFilter(field_name="finish_class", choices=FinishClass.choices)
    decision = filters.ChoiceFilter(choices=AdviceDecision.choices)

    class Meta:
        model = Advice
        fields = ("kind", "finish", "decision")
