"""Pages of athletes and squads, with measurements and consents."""

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.db.models import QuerySet
from django.forms.models import BaseInlineFormSet
from django.http import HttpRequest
from django.urls import reverse
from django.utils.html import format_html

from athletes import selectors
from athletes.models import Athlete, BodyMeasurement, Consent, Foot, SquadMember
from athletes.services import consenting, records
from clubs.admin import ClubForm, ClubInline, ClubModelAdmin, OverviewAdmin, StateFilter, caller_of
from clubs.models import Squad
from clubs.selectors import today_at
from common.errors import InvalidInputError
from common.versions import ANY_VERSION

if TYPE_CHECKING:
    _BaseInlineFormSet = BaseInlineFormSet[Any, Any, Any]
else:
    _BaseInlineFormSet = BaseInlineFormSet


class MeasurementForm(ClubForm):
    sentences = {
        "measurement_height_plausible": ("height_m", "In metres: over 0.8 and under 2.6."),
        "measurement_leg_plausible": (
            "leg_length_m",
            "In metres: over 0.3, and less than the height.",
        ),
    }


class MeasurementInline(ClubInline):
    model = BodyMeasurement
    form = MeasurementForm
    may_add = True
    may_change = True
    fields = ("measured_date", "height_m", "leg_length_m")
    ordering = ("-measured_date",)


class ConsentForm(ClubForm):
    sentences = {
        "consent_ends_after_start": ("withdrawn_date", "Not before the day it was given."),
    }

    def __init__(self, *args: Any, athlete: Athlete, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._athlete = athlete

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        athlete, given_by = self._athlete, cleaned.get("given_by")
        if athlete.birth_date and given_by and cleaned.get("from_date"):
            try:
                consenting.refuse_alone_too_young(
                    athlete.birth_date, given_by=given_by, from_date=cleaned["from_date"]
                )
            except InvalidInputError as error:
                self.add_error("given_by", error.faults[0].detail)
        return cleaned


class ConsentFormSet(_BaseInlineFormSet):
    """Tells each consent whose it is, on the page of an athlete who is not stored yet, too."""

    def get_form_kwargs(self, index: int | None) -> dict[str, Any]:
        return {**super().get_form_kwargs(index), "athlete": self.instance}


class ConsentInline(ClubInline):
    """What was agreed to stays written down; a withdrawal is a date."""

    model = Consent
    formset = ConsentFormSet
    form = ConsentForm
    may_add = True
    may_change = True
    fields = ("purpose", "given_by", "text_version", "from_date", "withdrawn_date")
    ordering = ("-from_date",)


class SquadMemberForm(ClubForm):
    sentences = {
        "squad_member_ends_after_start": ("until_date", "Not before the first day."),
    }


class SquadTimeInline(ClubInline):
    """An athlete's squads. A time in a squad ends; it is not deleted."""

    model = SquadMember
    form = SquadMemberForm
    may_add = True
    may_change = True
    fields = ("squad", "from_date", "until_date")
    autocomplete_fields = ("squad",)
    verbose_name = "time in a squad"
    verbose_name_plural = "squads"
    ordering = ("-from_date",)


class MemberInline(SquadTimeInline):
    """A squad's athletes."""

    fields = ("athlete", "from_date", "until_date")
    autocomplete_fields = ("athlete",)
    verbose_name = "member"
    verbose_name_plural = "members"


class RecordsConsent(admin.SimpleListFilter):
    """Find the athletes whose training may not be recorded, or not any more."""

    title = "consent to training records"
    parameter_name = "consent"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[Any, str]]:
        return [("missing", "missing or withdrawn")]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Any]) -> QuerySet[Any]:
        if self.value() != "missing":
            return queryset
        today = today_at(caller_of(request).club)
        return queryset.filter(
            id__in=selectors.list_athletes_without_consent(
                Consent.Purpose.TRAINING_RECORDS, today=today
            ).values("id")
        )


class AthleteForm(ClubForm):
    sentences = {
        "athlete_has_code": ("code", "An athlete needs a code."),
        "athlete_shoe_length_plausible": ("shoe_length_m", "In metres: over 0.1 and under 0.5."),
    }


@admin.register(Athlete)
class AthleteAdmin(OverviewAdmin):
    """Athletes. Nobody is deleted here: an athlete is archived."""

    purpose = (
        "Who jumps for the club. Open one to see squads and coaches, run-ups with their latest "
        "figures, alerts and consents."
    )
    may_add = True
    may_change = True
    additions_are_audited = True
    changes_are_audited = True
    form = AthleteForm
    inlines = (SquadTimeInline, MeasurementInline, ConsentInline)
    list_display = ("code", "family_name", "given_name", "birth_date", "archived_at", "attempts")
    list_display_links = ("code", "family_name")
    list_filter = (
        ("archived_at", StateFilter),
        RecordsConsent,
        "take_off_foot",
        ("squad_times__squad", admin.RelatedOnlyFieldListFilter),
    )
    search_fields = ("code", "given_name", "family_name")
    ordering = ("family_name", "given_name")
    # Attempts and run-ups are upper apps': their pages are known by their addresses.
    onward = (
        ("Attempts", "admin:approaches_attempt_changelist", "athlete__id__exact"),
        ("Sprint tests", "admin:athletes_sprinttest_changelist", "athlete__id__exact"),
        ("New run-up", "admin:approaches_approach_add", "athlete"),
    )

    def get_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        new = (
            "code",
            "given_name",
            "family_name",
            "birth_date",
            "take_off_foot",
            "shoe_length_m",
            "user",
        )
        return new if obj is None else (*new, "archived_at")

    def add_row(self, request: HttpRequest, obj: Any, form: Any) -> Athlete:
        caller = caller_of(request)
        return records.add_athlete(
            club=caller.club,
            code=obj.code,
            given_name=obj.given_name,
            family_name=obj.family_name,
            birth_date=obj.birth_date,
            take_off_foot=Foot(obj.take_off_foot) if obj.take_off_foot else None,
            shoe_length_m=obj.shoe_length_m,
            user=obj.user,
            caller=caller,
        )

    def change_row(self, request: HttpRequest, obj: Any, form: Any) -> None:
        caller = caller_of(request)
        records.change_athlete(
            club=caller.club,
            athlete_id=obj.pk,
            expected=ANY_VERSION,
            changes={name: form.cleaned_data[name] for name in form.changed_data},
            caller=caller,
        )

    @admin.display(description="attempts")
    def attempts(self, athlete: Athlete) -> str:
        # Attempts are an upper app's; its page is known by its address.
        address = reverse("admin:approaches_attempt_changelist")
        return format_html('<a href="{}?athlete__id__exact={}">show</a>', address, athlete.id)


@admin.register(Squad)
class SquadAdmin(ClubModelAdmin):
    """Squads, here because their members are athletes."""

    purpose = "Groups that train together. Who coaches a squad sees its athletes' attempts."
    may_add = True
    may_change = True
    fields = ("name", "archived_at")
    inlines = (MemberInline,)
    list_display = ("name", "archived_at")
    list_filter = (("archived_at", StateFilter),)
    search_fields = ("name",)
    ordering = ("name",)
