"""The page of who coaches whom."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from athletes.models import CoachAssignment
from athletes.services import coaching
from clubs.admin import ClubForm, ClubModelAdmin, StateFilter, caller_of
from common.versions import ANY_VERSION


class AssignmentForm(ClubForm):
    sentences = {
        "assignment_squad_or_athlete": ("athlete", "Either a squad or one athlete."),
        "assignment_ends_after_start": ("until_date", "Not before the first day."),
    }


@admin.register(CoachAssignment)
class CoachAssignmentAdmin(ClubModelAdmin):
    """Whose attempts a coach may see: one athlete's, or a squad's."""

    purpose = "Who coaches whom. A coach sees the athletes and squads that are listed here."
    may_add = True
    may_change = True
    may_delete = True
    additions_are_audited = True
    changes_are_audited = True
    form = AssignmentForm
    fields = ("coach", "squad", "athlete", "from_date", "until_date")
    autocomplete_fields = ("squad", "athlete")
    list_display = ("coach_email", "squad", "athlete", "from_date", "until_date")
    list_select_related = ("coach__user", "squad", "athlete")
    list_filter = (
        ("until_date", StateFilter),
        ("squad", admin.RelatedOnlyFieldListFilter),
    )
    search_fields = ("coach__user__email", "squad__name", "athlete__code", "athlete__family_name")
    date_hierarchy = "from_date"
    ordering = ("-from_date",)

    def get_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        # An assignment says for good whom it was about; another one is another row.
        first = ("coach",) if obj is None else ("coach_email",)
        return (*first, "squad", "athlete", "from_date", "until_date")

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return () if obj is None else ("coach_email", "squad", "athlete", "from_date")

    @admin.display(description="coach", ordering="coach__user__email")
    def coach_email(self, assignment: CoachAssignment) -> str:
        return assignment.coach.user.email

    def add_row(self, request: HttpRequest, obj: Any, form: Any) -> CoachAssignment:
        caller = caller_of(request)
        return coaching.assign_coach(club=caller.club, caller=caller, **form.cleaned_data)

    def change_row(self, request: HttpRequest, obj: Any, form: Any) -> None:
        caller = caller_of(request)
        coaching.change_assignment(
            club=caller.club,
            assignment_id=obj.pk,
            expected=ANY_VERSION,
            changes={name: form.cleaned_data[name] for name in form.changed_data},
            caller=caller,
        )
