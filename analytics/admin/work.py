"""The page of questions that a worker answers: to look at, and to try again."""

from typing import Any

import msgspec
from django.contrib import admin, messages
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils.html import format_html, format_html_join

from analytics.admin.series import link_athlete
from analytics.models import AskedWork, WorkKind, WorkState
from analytics.services import working
from athletes.models import Athlete
from clubs.admin import NOTHING, ClubModelAdmin, caller_of

# Of the colours that states of rows have on other pages.
_LOOKS = {
    WorkState.WAITING.value: "waiting",
    WorkState.RUNNING.value: "waiting",
    WorkState.FAILED.value: "failing",
}


@admin.register(AskedWork)
class AskedWorkAdmin(ClubModelAdmin):
    """What was asked for and takes longer: how far it is, and why it failed."""

    words = ("question", "questions")
    purpose = (
        "Questions that take longer to work out, such as what another mark would change. They go "
        "after a week by themselves. Tick one that failed and choose “Try selected questions "
        "again”."
    )
    fields = (
        ("what", "state_in_words"),
        "athletes",
        ("asked_by_person", "asked_at"),
        ("how_far", "taken_up"),
        ("started_at", "finished_at", "heard_at"),
        ("failure", "last_error"),
        ("method", "forget_at"),
        "question",
    )
    readonly_fields = (
        "what",
        "state_in_words",
        "athletes",
        "asked_by_person",
        "how_far",
        "question",
    )
    list_display = (
        "asked_at",
        "what",
        "athletes",
        "state_in_words",
        "how_far",
        "failure",
        "last_error",
        "finished_at",
    )
    list_filter = ("state", "failure")
    search_fields = ("last_error",)
    date_hierarchy = "asked_at"
    ordering = ("-asked_at", "-id")
    actions = ("try_again",)

    def get_queryset(self, request: HttpRequest) -> Any:
        # An answer can be long, and no page shows it.
        return super().get_queryset(request).select_related("asked_by__user").defer("answer")

    @admin.display(description="question", ordering="kind")
    def what(self, work: AskedWork) -> str:
        return dict(WorkKind.choices).get(work.kind, work.kind)

    @admin.display(description="state", ordering="state")
    def state_in_words(self, work: AskedWork) -> str:
        looks = _LOOKS.get(work.state)
        text = work.get_state_display().lower()
        return (
            text
            if looks is None
            else format_html('<span class="state state-{}">{}</span>', looks, text)
        )

    @admin.display(description="about")
    def athletes(self, work: AskedWork) -> str:
        about = Athlete.objects.filter(id__in=work.athlete_ids).order_by("family_name", "code")
        links = format_html_join(", ", "{}", ((link_athlete(each),) for each in about[:5]))
        more = len(work.athlete_ids) - 5
        return format_html("{} and {} more", links, more) if more > 0 else links or NOTHING

    @admin.display(description="done")
    def how_far(self, work: AskedWork) -> str:
        return f"{work.n_done} of {work.n_parts}" if work.n_parts else NOTHING

    @admin.display(description="asked by")
    def asked_by_person(self, work: AskedWork) -> str:
        return NOTHING if work.asked_by is None else work.asked_by.user.email

    @admin.display(description="question as it was asked")
    def question(self, work: AskedWork) -> str:
        return format_html(
            '<pre class="raw" tabindex="0">{}</pre>',
            msgspec.json.format(msgspec.json.encode(work.asked), indent=2).decode(),
        )

    @admin.action(description="Try selected questions again")
    def try_again(self, request: HttpRequest, chosen: QuerySet[AskedWork]) -> None:
        caller = caller_of(request)
        n = working.try_again(
            club=caller.club, work_ids=chosen.values_list("id", flat=True), caller=caller
        )
        # The others wait already, or are answered.
        level = messages.SUCCESS if n else messages.INFO
        self.message_user(request, f"{n} of {len(chosen)} had failed; tried again.", level)
