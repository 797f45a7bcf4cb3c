"""Pages of computed series and their alerts: to look at, never to edit."""

from typing import Any

from django.contrib import admin, messages
from django.db.models import QuerySet
from django.http import HttpRequest

from analytics.models import Alert, SeriesState
from analytics.services import attending
from clubs.admin import ClubModelAdmin, StateFilter, caller_of
from clubs.selectors import today_at
from common.versions import ANY_VERSION

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
        ("put_off_at", "put_off_by_person"),
    )
    readonly_fields = ("acknowledged_by_person", "put_off_by_person")
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
    actions = ("acknowledge",)
    ordering = ("-opened_at", "-id")

    def get_queryset(self, request: HttpRequest) -> Any:
        return (
            super()
            .get_queryset(request)
            .select_related("acknowledged_by__user", "put_off_by__user")
        )

    @admin.display(description="acknowledged by")
    def acknowledged_by_person(self, alert: Alert) -> str:
        return "" if alert.acknowledged_by is None else alert.acknowledged_by.user.email

    @admin.display(description="put off by")
    def put_off_by_person(self, alert: Alert) -> str:
        return "" if alert.put_off_by is None else alert.put_off_by.user.email

    @admin.action(description="Acknowledge selected alerts")
    def acknowledge(self, request: HttpRequest, chosen: QuerySet[Alert]) -> None:
        caller = caller_of(request)
        still_open = list(chosen.filter(closed_at=None).values_list("id", flat=True))
        for alert_id in still_open:
            attending.attend_to_alert(
                club=caller.club,
                alert_id=alert_id,
                # They are acknowledged as they are, whatever the figures made of them meanwhile.
                expected=ANY_VERSION,
                changes={"acknowledged": True},
                today=today_at(caller.club),
                caller=caller,
            )
        level = messages.SUCCESS if still_open else messages.INFO
        text = f"{len(still_open)} of {len(chosen)} are open; acknowledged."
        self.message_user(request, text, level)
