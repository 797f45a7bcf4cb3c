"""Pages of computed series and their alerts: to look at, never to edit."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from analytics.models import Alert, SeriesState
from clubs.admin import ClubModelAdmin, StateFilter

OF_ATHLETE = (
    "approach__code",
    "approach__athlete__code",
    "approach__athlete__given_name",
    "approach__athlete__family_name",
)


@admin.register(SeriesState)
class SeriesStateAdmin(ClubModelAdmin):
    """How far each series is computed, by which method."""

    fields = (
        ("approach", "finish_class"),
        ("method", "revision"),
        ("through_attempt", "n_attempts"),
        "figures",
        ("computed_at", "judge_due_at"),
    )
    list_display = (
        "approach__athlete",
        "approach",
        "finish_class",
        "n_attempts",
        "method",
        "computed_at",
    )
    list_display_links = ("approach",)
    list_select_related = ("approach__athlete",)
    list_filter = ("finish_class", "method")
    search_fields = OF_ATHLETE
    date_hierarchy = "computed_at"
    ordering = ("-computed_at", "-id")


@admin.register(Alert)
class AlertAdmin(ClubModelAdmin):
    """What coaches were told, with the evidence."""

    fields = (
        ("kind", "approach", "finish_class"),
        ("opened_at", "opened_at_attempt", "plan"),
        "evidence",
        ("closed_at", "closed_because"),
        ("acknowledged_at", "acknowledged_by_person"),
        ("put_off_until_date", "put_off_reason"),
    )
    readonly_fields = ("acknowledged_by_person",)
    list_display = (
        "opened_at",
        "kind",
        "approach__athlete",
        "approach",
        "finish_class",
        "acknowledged_at",
        "closed_at",
    )
    list_select_related = ("approach__athlete",)
    list_filter = ("kind", "finish_class", ("closed_at", StateFilter))
    search_fields = OF_ATHLETE
    date_hierarchy = "opened_at"
    ordering = ("-opened_at", "-id")

    def get_queryset(self, request: HttpRequest) -> Any:
        return super().get_queryset(request).select_related("acknowledged_by__user")

    @admin.display(description="acknowledged by")
    def acknowledged_by_person(self, alert: Alert) -> str:
        return "" if alert.acknowledged_by is None else alert.acknowledged_by.user.email
