"""Pages of approaches, plans, sessions, attempts, refused rows and the outbox."""

from collections.abc import Callable
from math import isnan
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import admin
from django.contrib.admin.widgets import AdminSplitDateTime
from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from approaches.models import (
    Approach,
    Attempt,
    AttemptVersion,
    PendingRefresh,
    Plan,
    QuarantinedRow,
    Session,
    SessionKind,
    StartStyle,
)
from approaches.services import records
from clubs.admin import ClubForm, ClubInline, ClubModelAdmin, caller_of
from clubs.admin.fields import TableField
from clubs.models import Event

SESSIONS_TO_CHOOSE_FROM = 20
NOT_MEASURED = "–"
OF_ATHLETE = ("athlete__code", "athlete__given_name", "athlete__family_name")
OF_APPROACHS_ATHLETE = tuple(f"approach__{name}" for name in ("code", *OF_ATHLETE))


class PlanInline(ClubInline):
    """The revisions so far; a new one is added on the page of plans."""

    model = Plan
    fields = readonly_fields = ("revision", "valid_from", "start_mark_m", "aim_m", "reason")
    ordering = ("-revision",)
    show_change_link = True


class ApproachForm(ClubForm):
    sentences = {"approach_steps_plausible": ("steps", "From 2 to 30 steps.")}


@admin.register(Approach)
class ApproachAdmin(ClubModelAdmin):
    may_add = True
    may_change = True
    additions_are_audited = True
    form = ApproachForm
    inlines = (PlanInline,)
    autocomplete_fields = ("athlete",)
    list_display = ("code", "athlete", "event", "steps", "start_style", "archived_at")
    list_select_related = ("athlete",)
    list_filter = (
        "event",
        "start_style",
        ("archived_at", admin.EmptyFieldListFilter),
        ("athlete", admin.RelatedOnlyFieldListFilter),
    )
    search_fields = ("code", *OF_ATHLETE)
    ordering = ("athlete__family_name", "code")

    def get_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        new = ("athlete", "code", "event", "steps", "start_style")
        return new if obj is None else (*new, "archived_at")

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        # Attempts were measured over these; another run-up is another approach.
        return () if obj is None else ("athlete", "event", "steps", "start_style")

    def get_inlines(self, request: HttpRequest, obj: Any) -> Any:
        return () if obj is None else self.inlines

    def add_row(self, request: HttpRequest, obj: Any, form: Any) -> Approach:
        caller = caller_of(request)
        return records.add_approach(
            club=caller.club,
            athlete=obj.athlete,
            code=obj.code,
            event=Event(obj.event),
            steps=obj.steps,
            start_style=StartStyle(obj.start_style),
            caller=caller,
        )


# The columns of a plan's check marks, and what makes each number.
MARK_COLUMNS: dict[str, Callable[[str], float]] = {"footfall": int, "at_m": float}


class PlanForm(ClubForm):
    sentences = {
        "plan_start_mark_plausible": ("start_mark_m", "In metres: over 2 and under 80."),
        "plan_aim_plausible": ("aim_m", "In metres: from 0 to 0.5."),
        "plan_phases_in_order": (
            "attack_footfall",
            "The attack starts after the transition, at a lower footfall.",
        ),
    }
    valid_from = forms.SplitDateTimeField(
        required=False, widget=AdminSplitDateTime, help_text="Empty: from now on."
    )
    check_marks = TableField(columns=MARK_COLUMNS, required=False)


@admin.register(Plan)
class PlanAdmin(ClubModelAdmin):
    """Revisions of approaches' marks. Append-only: a change is a new revision."""

    may_add = True
    additions_are_audited = True
    form = PlanForm
    autocomplete_fields = ("approach",)
    list_display = ("approach__athlete", "approach", "revision", "valid_from", "start_mark_m")
    list_display_links = ("approach", "revision")
    list_select_related = ("approach__athlete",)
    list_filter = ("approach__event",)
    search_fields = ("reason", *OF_APPROACHS_ATHLETE)
    date_hierarchy = "valid_from"
    ordering = ("-valid_from", "-id")

    def get_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        new = (
            "approach",
            "valid_from",
            "start_mark_m",
            "aim_m",
            "check_marks",
            "transition_footfall",
            "attack_footfall",
            "toe_m",
            "last_contacts",
            "reason",
        )
        return new if obj is None else ("revision", *new, "written_by", "created_at")

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return () if obj is None else ("written_by",)

    @admin.display(description="author")
    def written_by(self, plan: Plan) -> str:
        return "" if plan.author is None else plan.author.user.email

    def add_row(self, request: HttpRequest, obj: Any, form: Any) -> Plan:
        caller = caller_of(request)
        return records.add_plan(
            club=caller.club,
            approach_id=obj.approach_id,
            marks=records.Marks(
                start_mark_m=obj.start_mark_m,
                aim_m=obj.aim_m,
                check_marks=obj.check_marks,
                transition_footfall=obj.transition_footfall,
                attack_footfall=obj.attack_footfall,
                toe_m=obj.toe_m,
                last_contacts=obj.last_contacts,
            ),
            valid_from=form.cleaned_data["valid_from"],
            reason=obj.reason,
            caller=caller,
        )


class SessionForm(ClubForm):
    sentences = {"session_field_size_positive": ("field_size", "One athlete or more.")}


@admin.register(Session)
class SessionAdmin(ClubModelAdmin):
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
        return records.add_session(
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
        "official_m",
        "left_out",
        "voided_at",
    )
    list_select_related = ("athlete", "approach", "session")
    list_filter = ("outcome", "finish", "left_out", LatestSessions, "athlete")
    search_fields = ("external_id", "approach__code", "session__code", *OF_ATHLETE)
    date_hierarchy = "started_at"
    ordering = ("-started_at", "-id")

    @admin.display(description="toe to board (m)")
    def toe(self, attempt: Attempt) -> str:
        return _measured(attempt.toe_m[0]) if attempt.toe_m else NOT_MEASURED

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
            "<table><tr><th>footfall</th><th>toe (m)</th><th>touchdown (s)</th>"
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
            "<table><tr><th>before the board (m)</th><th>time (s)</th></tr>{}</table>",
            format_html_join("", "<tr><td>{}</td><td>{}</td></tr>", rows),
        )


def _measured(value: float | str | None) -> str:
    """Return how a measured value is shown; arrays hold NaN or nothing where none was taken."""
    if value is None or (isinstance(value, float) and isnan(value)):
        return NOT_MEASURED
    return value if isinstance(value, str) else f"{value:.3f}"


@admin.register(QuarantinedRow)
class QuarantinedRowAdmin(ClubModelAdmin):
    """Refused rows with their reasons. They are mended and replayed over the API."""

    fields = (
        ("source", "external_id"),
        ("code", "pointer"),
        "detail",
        "raw",
        ("received_at", "expires_at", "replayed_at"),
    )
    list_display = (
        "received_at",
        "source",
        "external_id",
        "code",
        "pointer",
        "detail",
        "replayed_at",
    )
    list_select_related = ("source",)
    list_filter = ("code", "source", ("replayed_at", admin.EmptyFieldListFilter))
    search_fields = ("external_id", "code", "pointer", "detail")
    date_hierarchy = "received_at"
    ordering = ("-received_at", "-id")


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
