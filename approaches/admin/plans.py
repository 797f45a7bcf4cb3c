"""Pages of approaches and of their plans' revisions."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import admin
from django.contrib.admin.widgets import AdminSplitDateTime
from django.http import HttpRequest
from django.utils.html import format_html, format_html_join

from approaches.admin.search_fields import OF_APPROACHS_ATHLETE, OF_ATHLETE, ChosenAthlete
from approaches.models import Approach, Plan, StartStyle
from approaches.services import records
from clubs.admin import NOTHING, ClubForm, ClubInline, ClubModelAdmin, StateFilter, caller_of
from clubs.admin.fields import TableField
from clubs.models import Event


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
    purpose = "Each athlete's run-ups: event, number of steps, and how they start."
    may_add = True
    may_change = True
    additions_are_audited = True
    form = ApproachForm
    inlines = (PlanInline,)
    autocomplete_fields = ("athlete",)
    list_display = ("code", "athlete", "event", "steps", "start_style", "archived_at")
    list_select_related = ("athlete",)
    list_filter = (ChosenAthlete, "event", "start_style", ("archived_at", StateFilter))
    search_fields = ("code", *OF_ATHLETE)
    ordering = ("athlete__family_name", "code")

    def get_queryset(self, request: HttpRequest) -> Any:
        return super().get_queryset(request).select_related("athlete")

    def name_in_choices(self, row: Approach) -> str:
        # Many athletes have a run-up of the same code.
        return f"{row.code}, {row.athlete}"

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
        "plan_start_mark_plausible": ("start_mark_m", "In metres: from 2 to 80."),
        "plan_aim_plausible": ("aim_m", "In metres: from 0 to 0.5."),
        "plan_phases_in_order": (
            "attack_footfall",
            "The attack starts after the transition, at a lower footfall.",
        ),
    }
    valid_from = forms.SplitDateTimeField(
        required=False, widget=AdminSplitDateTime, help_text="Empty: from now on."
    )
    check_marks = TableField(
        columns=MARK_COLUMNS,
        required=False,
        help_text=(
            "One mark a line: the footfall that should meet it, counted back from take-off, then "
            "its distance from the take-off line in metres, such as “9 15.00”."
        ),
    )


@admin.register(Plan)
class PlanAdmin(ClubModelAdmin):
    """Revisions of approaches' marks. Append-only: a change is a new revision."""

    purpose = (
        "Start mark, aim and check marks of each run-up. A change is a new revision; what was "
        "jumped before keeps the revision of its day."
    )
    may_add = True
    additions_are_audited = True
    form = PlanForm
    autocomplete_fields = ("approach",)
    list_display = ("athlete", "approach", "revision", "valid_from", "start_mark_m")
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
        if obj is None:
            return new
        shown = tuple("marks" if name == "check_marks" else name for name in new)
        return ("athlete", "revision", *shown, "written_by", "created_at")

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return () if obj is None else ("athlete", "marks", "written_by")

    @admin.display(description="athlete", ordering="approach__athlete__family_name")
    def athlete(self, plan: Plan) -> str:
        return str(plan.approach.athlete)

    @admin.display(description="check marks")
    def marks(self, plan: Plan) -> str:
        if not plan.check_marks:
            return NOTHING
        rows = [(mark["footfall"], f"{mark['at_m']:.2f}") for mark in plan.check_marks]
        return format_html(
            '<table class="values"><tr><th>footfall</th><th>at (m)</th></tr>{}</table>',
            format_html_join("", "<tr><td>{}</td><td>{}</td></tr>", rows),
        )

    @admin.display(description="author")
    def written_by(self, plan: Plan) -> str:
        return NOTHING if plan.author is None else plan.author.user.email

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
