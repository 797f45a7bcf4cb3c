"""The page of gate runs: those without an attempt are matched here by hand."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import admin, messages
from django.contrib.admin.views.main import ChangeList
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.template.loader import render_to_string
from django.urls import URLPattern, path, reverse
from django.utils.html import format_html, format_html_join
from django.views.decorators.http import require_POST

from approaches import selectors
from approaches.errors import UnknownAttemptError
from approaches.models import GateRun, Unmatched
from approaches.services import changes, forms, hand_matching
from athletes.models import Athlete
from clubs.admin import ClubModelAdmin, caller_of
from clubs.selectors import today_at
from common.errors import DomainError

LIST = "admin:approaches_gaterun_changelist"


class HasAttempt(admin.SimpleListFilter):
    title = "attempt"
    parameter_name = "matched"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[Any, str]]:
        return [("0", "none yet"), ("1", "matched")]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Any]) -> QuerySet[Any]:
        if self.value() in {"0", "1"}:
            return queryset.filter(attempt__isnull=self.value() == "0")
        return queryset


class GateRunList(ChangeList):
    """A page of runs, each with the attempts that may be its own: asked for once a page."""

    def get_results(self, request: HttpRequest) -> None:
        super().get_results(request)
        self.result_list = list(self.result_list)
        suggest(self.result_list, request)


def suggest(runs: list[Any], request: HttpRequest) -> None:
    """Write to each run which attempts may be its own, nearest first, with the athletes."""
    club = caller_of(request).club
    suggested = selectors.suggest_attempts(runs, caller=caller_of(request), today=today_at(club))
    athletes = Athlete.objects.in_bulk(
        {each.athlete_id for some in suggested.values() for each in some}
    )
    for run in runs:
        run.suggested = [
            {
                "attempt": each,
                "athlete": athletes[each.athlete_id],
                "apart": _apart(each.seconds_apart),
            }
            for each in suggested.get(run.id, [])
        ]


def _apart(seconds: float) -> str:
    return f"{abs(seconds):.1f} s {'later' if seconds > 0 else 'earlier'}"


@admin.register(GateRun)
class GateRunAdmin(ClubModelAdmin):
    """Runs through timing gates. Most find their attempt themselves; a person knows the others'."""

    purpose = (
        "Runs through timing gates. Most find their attempt themselves. For one without, press "
        "the button of the attempt that it belongs to."
    )
    change_form_template = "approaches/admin/gate_run.html"
    fields = (
        ("athlete", "started_at"),
        ("source", "external_id", "attempt_external_id"),
        "gates",
        ("attempt", "matched_by", "matched_at"),
        "why_unmatched",
    )
    readonly_fields = ("gates", "why_unmatched")
    list_display = (
        "started_at",
        "athlete",
        "source",
        "external_id",
        "attempt",
        "why_unmatched",
        "suggestions",
    )
    list_select_related = ("athlete", "source", "attempt")
    list_filter = (HasAttempt, "matched_by", ("source", admin.RelatedOnlyFieldListFilter))
    search_fields = (
        "external_id",
        "attempt_external_id",
        "athlete__code",
        "athlete__given_name",
        "athlete__family_name",
    )
    date_hierarchy = "started_at"
    ordering = ("-started_at", "-id")

    def get_changelist(self, request: HttpRequest, **kwargs: Any) -> type[ChangeList]:
        return GateRunList

    def get_urls(self) -> list[URLPattern]:
        return [
            path(f"<uuid:run_id>/{name}/", self._posted(view), name=f"approaches_gaterun_{name}")
            for name, view in (("match", self.match), ("unmatch", self.unmatch))
        ] + super().get_urls()

    def _posted(self, view: Callable[..., HttpResponse]) -> Callable[..., Any]:
        return self.admin_site.admin_view(require_POST(view))

    def get_object(self, request: HttpRequest, object_id: str, from_field: Any = None) -> Any:
        run = super().get_object(request, object_id, from_field)
        if run is not None:
            suggest([run], request)
        return run

    @admin.display(description="gates")
    def gates(self, run: GateRun) -> str:
        rows = zip(run.at_m, run.time_s, strict=True)
        return format_html(
            '<table class="values"><tr><th>before the board (m)</th><th>time (s)</th></tr>'
            "{}</table>",
            format_html_join("", "<tr><td>{:g}</td><td>{:.3f}</td></tr>", rows),
        )

    @admin.display(description="why none", ordering="unmatched_because")
    def why_unmatched(self, run: GateRun) -> str:
        if run.unmatched_because is None:
            return ""
        return dict(Unmatched.choices).get(run.unmatched_because, run.unmatched_because)

    @admin.display(description="may be")
    def suggestions(self, run: Any) -> str:
        return render_to_string("approaches/admin/suggested.html", {"run": run})

    def match(self, request: HttpRequest, run_id: UUID) -> HttpResponse:
        """Give the run the attempt whose button was pressed."""

        def work() -> GateRun:
            try:
                attempt_id = UUID(request.POST.get("attempt", ""))
            except ValueError as error:
                raise UnknownAttemptError from error
            caller = caller_of(request)
            return hand_matching.match_by_hand(
                club=caller.club, run_id=run_id, attempt_id=attempt_id, caller=caller
            )

        return self._answer(request, run_id, work, "has its attempt")

    def unmatch(self, request: HttpRequest, run_id: UUID) -> HttpResponse:
        """Take the run off its attempt."""

        def work() -> GateRun:
            sent = forms.read_form({"reason": request.POST.get("reason", "")}, changes.Reasoned)
            caller = caller_of(request)
            return hand_matching.unmatch(
                club=caller.club, run_id=run_id, reason=sent.reason, caller=caller
            )

        return self._answer(request, run_id, work, "was taken off its attempt")

    def _answer(
        self, request: HttpRequest, run_id: UUID, work: Callable[[], GateRun], done: str
    ) -> HttpResponse:
        """Do the work and go on with the next run, or say at the run why it cannot be done."""
        try:
            with transaction.atomic():
                run = work()
        except DomainError as error:
            for fault in error.faults:
                messages.error(request, f"{fault.detail} ({fault.code})")
            if not error.faults:
                messages.error(request, f"{error.detail}. ({error.code})")
            return redirect("admin:approaches_gaterun_change", run_id)
        messages.success(request, f"Gate run {run.external_id} {done}.")
        return redirect(f"{reverse(LIST)}?matched=0")
