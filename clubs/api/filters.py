"""Filters over what a club keeps."""

from django.db.models import Q
from django_filters import rest_framework as filters

from clubs import selectors
from clubs.models import AuditEntry, Runway
from common.api.filters import FlagFilter, MomentFilter


class RunwayFilter(filters.FilterSet):
    event = filters.ChoiceFilter(
        field_name="boards__event",
        distinct=True,
        choices=[("long_jump", "long_jump"), ("triple_jump", "triple_jump")],
        help_text="With a board for this event.",
    )
    indoor = FlagFilter(help_text="Under a roof.")

    class Meta:
        model = Runway
        fields = ("event", "indoor")


class AuditFilter(filters.FilterSet):
    actor = filters.UUIDFilter(
        method="by_actor", help_text="A token; or a member or a source, with any of their tokens."
    )
    action = filters.CharFilter(help_text="Such as athlete_changed.")
    subject_kind = filters.CharFilter(help_text="Such as athlete.")
    subject = filters.UUIDFilter(
        field_name="subject_ids", method="about", help_text="The id of a row."
    )
    request_id = filters.CharFilter()
    at_from = MomentFilter(field_name="at", lookup_expr="gte")
    at_before = MomentFilter(field_name="at", lookup_expr="lt")

    class Meta:
        model = AuditEntry
        fields = (
            "actor",
            "action",
            "subject_kind",
            "subject",
            "request_id",
            "at_from",
            "at_before",
        )

    def by_actor(self, queryset, name, value):  # type: ignore[no-untyped-def]  # django-filter carries no types
        held = selectors.list_tokens_held_by(value)
        return queryset.filter(Q(actor_id=value) | Q(actor_id__in=held.values("id")))

    def about(self, queryset, name, value):  # type: ignore[no-untyped-def]  # django-filter carries no types
        return queryset.filter(subject_ids__contains=[value])
