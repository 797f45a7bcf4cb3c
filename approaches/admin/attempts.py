"""Pages of sessions and of what was measured in them."""

from math import isnan
from typing import Any
from uuid import UUID

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from approaches.admin.search_fields import OF_ATHLETE, ChosenAthlete
from approaches.models import Attempt, AttemptVersion, Session, SessionKind
from approaches.services import sessions
from clubs.admin import ClubForm, ClubInline, ClubModelAdmin, caller_of

SESSIONS_TO_CHOOSE_FROM = 20
NOT_MEASURED = "–"


class SessionForm(ClubForm):
    sentences = {
        "session_field_size_positive": ("field_size", "One athlete or more."),
        "session_code_is_no_id": ("code", "This has the form of an id."),
    }


@admin.register(Session)
class SessionAdmin(ClubModelAdmin):
    purpose = "Days of training, testing or competition, each with its attempts."
    may_add = True
    may_change = True
    additions_are_audited = True
    form = SessionForm
    fields = ("code", "held_date", "kind", "runway", "weather", "field_size")
    list_display = ("code", "held_date", "kind", "runway", "attempts")
    list_select_related = ("runway",)
    list_filter = ("kind", ("runway", admin.RelatedOnlyFieldListFilter))
    search_fields = ("code", "weather")
    date_hierarchy = "held_date"
    ordering = ("-held_date", "-id")

    @admin.display(description="attempts")
    def attempts(self, session: Session) -> str:
        address = reverse("admin:approaches_attempt_changelist")
        return format_html('<a href="{}?session={}">show</a>', address, session.id)

    def add_row(self, request: HttpRequest, obj: Any, form: Any) -> Session:
        caller = caller_of(request)
        return sessions.add_session(
            club=caller.club,
            code=obj.code,
            held_date=obj.held_date,
            kind=SessionKind(obj.kind),
            runway=obj.runway,
            weather=obj.weather,
            field_size=obj.field_size,
            caller=caller,
        )


class LatestSessions(admin.SimpleListFilter):
    """The latest sessions, and the one that a link chose; a season's would fill the page."""

    title = "session"
    parameter_name = "session"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[Any, str]]:
        latest = list(Session.objects.order_by("-held_date", "-id")[:SESSIONS_TO_CHOOSE_FROM])
        chosen = self._chosen_id()
        if chosen is not None and all(session.id != chosen for session in latest):
            latest += Session.objects.filter(id=chosen)
        return [(session.id, session.code) for session in latest]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Any]) -> QuerySet[Any]:
        if self.value() is None:
            return queryset
        chosen = self._chosen_id()
        return queryset.none() if chosen is None else queryset.filter(session_id=chosen)

    def _chosen_id(self) -> UUID | None:
        try:
            return UUID(self.value() or "")
        except ValueError:
            return None


class VersionInline(ClubInline):
    model = AttemptVersion
    fields = readonly_fields = ("version", "replaced_at", "reason")
    ordering = ("-version",)


@admin.register(Attempt)
class AttemptAdmin(ClubModelAdmin):
    """What was measured. It is pushed, corrected and voided over the API, with a reason."""

    purpose = (
        "Every run-up that was measured. Timing systems and scripts send, correct and void them; "
        "here they are looked at."
    )
    fields = (
        ("source", "external_id"),
        ("athlete", "approach", "plan"),
        ("session", "started_at"),
        ("finish", "phases"),
        ("outcome", "official_m"),
        ("take_off_foot_ok", "left_out"),
        ("start_mark_m", "wind_mps"),
        "footfalls",
        "gates",
        ("version", "voided_at"),
    )
    readonly_fields = ("footfalls", "gates")
    inlines = (VersionInline,)
    list_display = (
        "started_at",
        "athlete",
        "approach",
        "session",
        "finish",
        "outcome",
        "toe",
        "official",
        "counts",
    )
    list_select_related = ("athlete", "approach", "session")
    list_filter = (ChosenAthlete, "outcome", "finish", "left_out", LatestSessions)
    search_fields = ("external_id", "approach__code", "session__code", *OF_ATHLETE)
    date_hierarchy = "started_at"
    ordering = ("-started_at", "-id")

    @admin.display(description="toe to board (m)")
    def toe(self, attempt: Attempt) -> str:
        return _measured(attempt.toe_m[0]) if attempt.toe_m else NOT_MEASURED

    @admin.display(description="official (m)", ordering="official_m")
    def official(self, attempt: Attempt) -> Any:
        return attempt.official_m

    @admin.display(description="counts", ordering="left_out")
    def counts(self, attempt: Attempt) -> str:
        """Say whether figures rest on the attempt, and if not, why."""
        if attempt.voided_at is not None:
            return format_html('<span class="state state-failing">{}</span>', "voided")
        if attempt.left_out:
            return format_html(
                '<span class="state state-waiting">no: {}</span>',
                attempt.get_left_out_display().lower(),
            )
        return "yes"

    @admin.display(description="footfalls")
    def footfalls(self, attempt: Attempt) -> str:
        """Show the arrays as a table, from the take-off footfall back."""
        columns = (attempt.toe_m, attempt.touchdown_s, attempt.toe_off_s, attempt.contact)
        longest = max((len(column) for column in columns), default=0)
        rows = [
            (
                number,
                *(_measured(column[number]) if number < len(column) else "" for column in columns),
            )
            for number in range(longest)
        ]
        return format_html(
            '<table class="values"><tr><th>footfall</th><th>toe (m)</th><th>touchdown (s)</th>'
            "<th>toe off (s)</th><th>contact</th></tr>{}</table>",
            format_html_join(
                "", "<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>", rows
            ),
        )

    @admin.display(description="gates")
    def gates(self, attempt: Attempt) -> str:
        rows = [
            (_measured(at), _measured(time))
            for at, time in zip(attempt.gate_at_m, attempt.gate_time_s, strict=True)
        ]
        return format_html(
            '<table class="values"><tr><th>before the board (m)</th><th>time (s)</th></tr>'
            "{}</table>",
            format_html_join("", "<tr><td>{}</td><td>{}</td></tr>", rows),
        )


def _measured(value: float | str | None) -> str:
    """Return how a measured value is shown; arrays hold NaN or nothing where none was taken."""
    if value is None or (isinstance(value, float) and isnan(value)):
        return NOT_MEASURED
    return value if isinstance(value, str) else f"{value:.3f}"
