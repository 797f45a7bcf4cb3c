"""Filters over what a club keeps."""

from django_filters import rest_framework as filters

from clubs.models import Runway
from common.api.filters import FlagFilter


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
