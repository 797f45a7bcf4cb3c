"""The page of series that wait to be computed."""

from typing import Any

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest

from approaches.admin.search_fields import OF_APPROACHS_ATHLETE
from approaches.models import PendingRefresh
from clubs.admin import ClubModelAdmin


class Failing(admin.SimpleListFilter):
    title = "state"
    parameter_name = "failing"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[Any, str]]:
        return [("1", "failed before"), ("0", "waiting for its turn")]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Any]) -> QuerySet[Any]:
        if self.value() == "1":
            return queryset.filter(failures__gt=0)
        if self.value() == "0":
            return queryset.filter(failures=0)
        return queryset


@admin.register(PendingRefresh)
class PendingRefreshAdmin(ClubModelAdmin):
    """Series whose figures are about to be computed again; one that failed says why and when next.

    Rows are here for about a second. One that stays is a series whose refresh fails.
    """

    fields = (
        ("approach", "finish_class"),
        ("first_changed_at", "waiting_since"),
        ("failures", "last_error", "next_try_at"),
        "revision",
    )
    list_display = (
        "approach__athlete",
        "approach",
        "finish_class",
        "waiting_since",
        "fine",
        "failures",
        "last_error",
        "next_try_at",
    )
    list_display_links = ("approach",)
    list_select_related = ("approach__athlete",)
    list_filter = (Failing, "finish_class")
    search_fields = ("last_error", *OF_APPROACHS_ATHLETE)
    ordering = ("-failures", "next_try_at")

    @admin.display(description="fine", boolean=True)
    def fine(self, pending: PendingRefresh) -> bool:
        return pending.failures == 0
