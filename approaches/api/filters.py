"""Filters over approaches, sessions and attempts."""

from django_filters import rest_framework as filters

from approaches import selectors
from approaches.models import (
    Approach,
    Attempt,
    Finish,
    GateRun,
    QuarantinedRow,
    RowKind,
    Session,
    SessionKind,
)
from athletes.api.filters import SquadFilter
from clubs.models import Event
from clubs.selectors import today_at
from common.api.filters import FlagFilter, MomentFilter


class ApproachFilter(filters.FilterSet):
    athlete = filters.UUIDFilter(field_name="athlete_id")
    squad = SquadFilter(field_name="athlete_id")
    event = filters.ChoiceFilter(choices=Event.choices)
    code = filters.CharFilter()
    archived = FlagFilter(field_name="archived_at", lookup_expr="isnull", exclude=True)

    class Meta:
        model = Approach
        fields = ("athlete", "squad", "event", "code", "archived")


class SessionFilter(filters.FilterSet):
    code = filters.CharFilter()
    kind = filters.ChoiceFilter(choices=SessionKind.choices)
    held_from = filters.DateFilter(field_name="held_date", lookup_expr="gte")
    held_until = filters.DateFilter(field_name="held_date", lookup_expr="lte")
    runway = filters.UUIDFilter(field_name="runway_id")
    athlete = filters.UUIDFilter(
        method="of_athlete", help_text="With an attempt of this athlete, if the caller may see it."
    )

    class Meta:
        model = Session
        fields = ("code", "kind", "held_from", "held_until", "runway", "athlete")

    def of_athlete(self, queryset, name, value):  # type: ignore[no-untyped-def]  # django-filter carries no types
        caller = self.request.user
        attended = selectors.list_sessions_of(value, caller, today=today_at(caller.club))
        return queryset.filter(id__in=attended.values("id"))


class AttemptFilter(filters.FilterSet):
    external_id = filters.CharFilter()
    source = filters.UUIDFilter(field_name="source_id")
    athlete = filters.UUIDFilter(field_name="athlete_id")
    squad = SquadFilter(field_name="athlete_id")
    approach = filters.UUIDFilter(field_name="approach_id")
    session = filters.UUIDFilter(field_name="session_id")
    finish = filters.ChoiceFilter(choices=Finish.choices)
    voided = FlagFilter(field_name="voided_at", lookup_expr="isnull", exclude=True)
    started_from = MomentFilter(field_name="started_at", lookup_expr="gte")
    started_before = MomentFilter(field_name="started_at", lookup_expr="lt")

    class Meta:
        model = Attempt
        fields = (
            "external_id",
            "source",
            "athlete",
            "squad",
            "approach",
            "session",
            "finish",
            "voided",
            "started_from",
            "started_before",
        )


class GateRunFilter(filters.FilterSet):
    matched = FlagFilter(field_name="attempt", lookup_expr="isnull", exclude=True)
    external_id = filters.CharFilter()
    source = filters.UUIDFilter(field_name="source_id")
    athlete = filters.UUIDFilter(field_name="athlete_id")
    attempt = filters.UUIDFilter(field_name="attempt_id")
    started_from = MomentFilter(field_name="started_at", lookup_expr="gte")
    started_before = MomentFilter(field_name="started_at", lookup_expr="lt")

    class Meta:
        model = GateRun
        fields = (
            "matched",
            "external_id",
            "source",
            "athlete",
            "attempt",
            "started_from",
            "started_before",
        )


class QuarantineFilter(filters.FilterSet):
    kind = filters.ChoiceFilter(choices=RowKind.choices)
    source = filters.UUIDFilter(field_name="source_id")
    external_id = filters.CharFilter()
    code = filters.CharFilter()

    class Meta:
        model = QuarantinedRow
        fields = ("kind", "source", "external_id", "code")
