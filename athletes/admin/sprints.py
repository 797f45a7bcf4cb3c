"""The page of sprint tests."""

from collections.abc import Callable

from django.contrib import admin

from athletes.models import SprintTest
from clubs.admin import ClubForm, ClubModelAdmin
from clubs.admin.fields import TableField

# The columns of a sprint's splits, and what makes each number.
SPLIT_COLUMNS: dict[str, Callable[[str], float]] = {"at_m": float, "time_s": float}


class SprintTestForm(ClubForm):
    splits = TableField(
        columns=SPLIT_COLUMNS,
        growing=True,
        help_text=(
            "One split a line: the distance in metres, then the time in seconds, such as “10 1.85”."
        ),
    )


@admin.register(SprintTest)
class SprintTestAdmin(ClubModelAdmin):
    purpose = "Timed sprints: where the design of a run-up begins."
    may_add = True
    may_change = True
    form = SprintTestForm
    fields = ("athlete", "tested_date", "start", "splits")
    autocomplete_fields = ("athlete",)
    list_display = ("tested_date", "athlete", "start", "longest")
    list_select_related = ("athlete",)
    list_filter = ("start",)
    search_fields = ("athlete__code", "athlete__given_name", "athlete__family_name")
    date_hierarchy = "tested_date"
    ordering = ("-tested_date",)

    @admin.display(description="last split")
    def longest(self, test: SprintTest) -> str:
        last = test.splits[-1] if test.splits else None
        return "" if last is None else f"{last['at_m']:g} m in {last['time_s']:.2f} s"
