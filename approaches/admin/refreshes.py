"""The page of series that wait to be computed."""

from typing import Any

from django.contrib import admin, messages
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.html import format_html
from django.utils.timesince import timesince

from approaches.admin.search_fields import OF_APPROACHS_ATHLETE
from approaches.models import PendingRefresh
from approaches.services import hurrying
from clubs.admin import ClubModelAdmin, caller_of


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

    words = ("waiting series", "waiting series")
    purpose = (
        "Figures that are about to be computed again, usually within a second. One that failed is "
        "tried again by itself, later each time; tick it and choose “Try selected series now” to "
        "hurry it."
    )
    fields = (
        ("approach", "finish_class"),
        ("state", "waits_for"),
        ("first_changed_at", "waiting_since"),
        ("failures", "last_error", "next_try_at"),
        "revision",
    )
    readonly_fields = ("state", "waits_for")
    list_display = (
        "approach",
        "athlete",
        "finish_class",
        "state",
        "waits_for",
        "failures",
        "last_error",
        "next_try_at",
    )
    list_select_related = ("approach__athlete",)
    list_filter = (Failing, "finish_class")
    search_fields = ("last_error", *OF_APPROACHS_ATHLETE)
    ordering = ("-failures", "next_try_at")
    actions = ("try_now",)

    @admin.display(description="athlete", ordering="approach__athlete__family_name")
    def athlete(self, pending: PendingRefresh) -> str:
        return str(pending.approach.athlete)

    @admin.display(description="state", ordering="failures")
    def state(self, pending: PendingRefresh) -> str:
        if pending.failures:
            return format_html('<span class="state state-failing">{}</span>', "failed")
        return format_html('<span class="state state-waiting">{}</span>', "waits for its turn")

    @admin.display(description="waits for", ordering="-waiting_since")
    def waits_for(self, pending: PendingRefresh) -> str:
        return timesince(pending.waiting_since, timezone.now())

    @admin.action(description="Try selected series now")
    def try_now(self, request: HttpRequest, chosen: QuerySet[PendingRefresh]) -> None:
        caller = caller_of(request)
        hurried = hurrying.try_again_now(
            club=caller.club, pending_ids=chosen.values_list("id", flat=True), caller=caller
        )
        # The others are due already: nothing holds them back but the queue.
        level = messages.SUCCESS if hurried else messages.INFO
        self.message_user(request, f"{hurried} of {len(chosen)} were put off; tried now.", level)
