"""Filters over athletes, what is kept of them, members, squads and assignments."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django_filters import rest_framework as filters

from athletes import selectors
from athletes.models import (
    Athlete,
    BodyMeasurement,
    CoachAssignment,
    Consent,
    SprintTest,
    SquadMember,
)
from clubs.models import Membership, Role
from clubs.selectors import today_at
from common.api.filters import FlagFilter


class SquadFilter(filters.UUIDFilter):
    """Rows about athletes who are members of a squad on the day it is where the club is."""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            **{"help_text": "Of athletes who are members of this squad today."} | options
        )

    def filter(self, qs: QuerySet[Any], value: UUID | None) -> QuerySet[Any]:
        if value is None:
            return qs
        today = today_at(self.parent.request.user.club)
        members = selectors.list_times_in_squad(value, today=today)
        return qs.filter(**{f"{self.field_name}__in": members.values("athlete_id")})


class AthleteFilter(filters.FilterSet):
    code = filters.CharFilter(help_text="The club's own code.")
    squad = SquadFilter(field_name="id", help_text="Members of this squad today.")
    archived = FlagFilter(field_name="archived_at", lookup_expr="isnull", exclude=True)

    class Meta:
        model = Athlete
        fields = ("code", "squad", "archived")


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


class MemberFilter(filters.FilterSet):
    email = filters.CharFilter(field_name="user__email", lookup_expr="iexact")
    role = filters.ChoiceFilter(choices=Role.choices)
    ended = FlagFilter(field_name="ended_at", lookup_expr="isnull", exclude=True)
    athlete = filters.UUIDFilter(field_name="athlete_id")

    class Meta:
        model = Membership
        fields = ("email", "role", "ended", "athlete")


class SquadMemberFilter(filters.FilterSet):
    athlete = filters.UUIDFilter(field_name="athlete_id")
    on = filters.DateFilter(method="held_on", help_text="Who is a member on this day.")

    class Meta:
        model = SquadMember
        fields = ("athlete", "on")

    def held_on(self, queryset, name, value):  # type: ignore[no-untyped-def]  # django-filter carries no types
        return queryset.filter(selectors.holds_on(value))


class CoachAssignmentFilter(filters.FilterSet):
    coach = filters.UUIDFilter(field_name="coach_id", help_text="A member.")
    squad = filters.UUIDFilter(field_name="squad_id")
    athlete = filters.UUIDFilter(field_name="athlete_id", help_text="Assigned themselves.")
    on = filters.DateFilter(method="held_on", help_text="In force on this day.")

    class Meta:
        model = CoachAssignment
        fields = ("coach", "squad", "athlete", "on")

    def held_on(self, queryset, name, value):  # type: ignore[no-untyped-def]  # django-filter carries no types
        return queryset.filter(selectors.holds_on(value))
