"""Pages of the club itself and of its runways."""

from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.contrib import admin
from django.http import HttpRequest

from clubs.admin.rows import ClubForm, ClubInline, ClubModelAdmin, caller_of
from clubs.models import Board, Club, Runway
from clubs.services import founding
from common.versions import ANY_VERSION


class ClubDetailsForm(ClubForm):
    sentences = {"club_country_iso": ("country", "Two capital letters, such as AT.")}
    time_zone = forms.ChoiceField(
        choices=lambda: [(name, name) for name in sorted(available_timezones())]
    )


@admin.register(Club)
class ClubAdmin(ClubModelAdmin):
    """The club: it is founded on the command line and never deleted here."""

    purpose = "Name, country and time zone. Times on all pages are those of this zone."
    may_change = True
    form = ClubDetailsForm
    fields = ("slug", "name", "country", "time_zone", "settings", "created_at")
    # Addresses hold the short name. Thresholds are changed where each is checked and explained.
    readonly_fields = ("slug", "settings", "created_at")
    list_display = ("name", "slug", "country", "time_zone")
    search_fields = ("name", "slug")
    changes_are_audited = True

    def change_row(self, request: HttpRequest, obj: Any, form: Any) -> None:
        caller = caller_of(request)
        founding.change_club(
            club=caller.club,
            expected=ANY_VERSION,
            changes={name: form.cleaned_data[name] for name in form.changed_data},
            caller=caller,
        )


class BoardForm(ClubForm):
    sentences = {"board_before_pit": ("to_pit_m", "The pit lies behind the board: more than 0.")}


class BoardInline(ClubInline):
    """Boards stay: what was jumped from one refers to its distance."""

    model = Board
    form = BoardForm
    may_add = True
    may_change = True
    fields = ("event", "to_pit_m")


class RunwayForm(ClubForm):
    sentences = {
        "runway_direction_compass": ("direction_deg", "A compass direction: 0 to under 360."),
        "runway_length_positive": ("length_m", "A length is more than 0."),
    }


@admin.register(Runway)
class RunwayAdmin(ClubModelAdmin):
    purpose = "Where the club trains and competes: surface, direction, and where the boards lie."
    may_add = True
    may_change = True
    form = RunwayForm
    fields = ("name", "surface", "indoor", "altitude_m", "direction_deg", "length_m")
    inlines = (BoardInline,)
    list_display = ("name", "surface", "indoor", "altitude_m", "board_list")
    list_filter = ("indoor",)
    search_fields = ("name", "surface")
    ordering = ("name",)

    def get_queryset(self, request: HttpRequest) -> Any:
        return super().get_queryset(request).prefetch_related("boards")

    @admin.display(description="boards")
    def board_list(self, runway: Runway) -> str:
        return ", ".join(str(board) for board in runway.boards.all())
