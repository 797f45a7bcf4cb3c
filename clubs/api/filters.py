"""Filters over what a club keeps."""

from django_filters import rest_framework as filters

from clubs.models import Runway


class RunwayFilter(filters.FilterSet):
    event = filters.ChoiceFilter(
        field_name="boards__event",
        distinct=True,
        choices=[("long_jump", "long_jump"), ("triple_jump", "triple_jump")],
        help_text="With a board for this event.",
    )
    indoor = filters.ChoiceFilter(
        method="by_roof", choices=[("true", "true"), ("false", "false")], help_text="Under a roof."
    )

    class Meta:
        model = Runway
        fields = ("event", "indoor")

    def by_roof(self, queryset, name, value):  # type: ignore[no-untyped-def]  # django-filter carries no types
        return queryset.filter(indoor=value == "true")
