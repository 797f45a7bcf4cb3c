"""Pages of computed series and their alerts: to look at, never to edit."""

from typing import Any

import msgspec
from django.contrib import admin, messages
from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from analytics.answers import alert_words
from analytics.models import Alert, SeriesState
from analytics.services import attending
from athletes.models import Athlete
from clubs.admin import NOTHING, ClubModelAdmin, StateFilter, caller_of, spell_name
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

    words = ("computed series", "computed series")
    purpose = (
        "How far the figures of each run-up are computed. What they say stands on the athlete's "
        "page."
    )
    fields = (
        "athlete",
        ("approach", "finish_class"),
        ("through_attempt", "n_attempts"),
        ("computed_at", "judge_due_at"),
        ("method", "revision"),
        "all_figures",
    )
    readonly_fields = ("athlete", "all_figures")
    list_display = (
        "athlete",
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

    @admin.display(description="athlete", ordering="approach__athlete__family_name")
    def athlete(self, state: SeriesState) -> str:
        return link_athlete(state.approach.athlete)

    @admin.display(description="figures")
    def all_figures(self, state: SeriesState) -> str:
        """Show the figures as they are stored, to who looks for a cause."""
        return format_html(
            "<details><summary>As they are stored</summary>"
            '<pre class="raw" tabindex="0">{}</pre></details>',
            msgspec.json.format(msgspec.json.encode(state.figures), indent=2).decode(),
        )


@admin.register(Alert)
class AlertAdmin(ClubModelAdmin):
    """What coaches were told, with the evidence."""

    purpose = "What coaches were told of a change at the board, since when, and how sure it is."
    fields = (
        "athlete",
        ("kind", "approach", "finish_class"),
        "told",
        ("opened_at", "opened_at_attempt", "plan"),
        "numbers",
        ("closed_at", "closed_because"),
        ("acknowledged_at", "acknowledged_by_person"),
        ("put_off_until_date", "put_off_reason"),
        ("put_off_at", "put_off_by_person"),
    )
    readonly_fields = ("athlete", "told", "numbers", "acknowledged_by_person", "put_off_by_person")
    list_display = (
        "opened_at",
        "kind",
        "athlete",
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

    @admin.display(description="athlete", ordering="approach__athlete__family_name")
    def athlete(self, alert: Alert) -> str:
        return link_athlete(alert.approach.athlete)

    @admin.display(description="what was found")
    def told(self, alert: Alert) -> str:
        return alert_words.describe(alert.kind, alert.evidence)

    @admin.display(description="evidence")
    def numbers(self, alert: Alert) -> str:
        return format_html(
            '<table class="values">{}</table>',
            format_html_join(
                "",
                "<tr><th scope='row'>{}</th><td>{}</td></tr>",
                [(spell_name(name), _as_number(value)) for name, value in alert.evidence.items()],
            ),
        )

    @admin.display(description="acknowledged by")
    def acknowledged_by_person(self, alert: Alert) -> str:
        return NOTHING if alert.acknowledged_by is None else alert.acknowledged_by.user.email

    @admin.display(description="put off by")
    def put_off_by_person(self, alert: Alert) -> str:
        return NOTHING if alert.put_off_by is None else alert.put_off_by.user.email

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


def link_athlete(athlete: Athlete) -> str:
    address = reverse("admin:athletes_athlete_overview", args=[athlete.id])
    return format_html('<a href="{}">{}</a>', address, athlete)


def _as_number(value: Any) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)
