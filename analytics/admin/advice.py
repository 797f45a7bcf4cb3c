"""The page of advice that was decided on: read, looked back on, and decided for a coach."""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import admin
from django.http import HttpRequest
from django.utils.html import format_html, format_html_join

from analytics import selectors
from analytics.admin.series import OF_ATHLETE, link_athlete
from analytics.answers import looking_back
from analytics.models import Advice, AdviceDecision
from analytics.selectors import WaitingAdvice
from analytics.services import advising, afterwards
from approaches.models import FinishClass
from clubs.admin import NOTHING, ClubForm, ClubModelAdmin, caller_of
from clubs.selectors import today_at
from common.errors import InvalidInputError

NOTHING_TO_CHECK = "Nothing that attempts could show."


def name_of(waiting: WaitingAdvice) -> str:
    """Return a waiting advice as the form lists it."""
    way = "toward the pit" if waiting.move_m < 0 else "back"
    return (
        f"{waiting.athlete_code}, {waiting.approach_code}: move the start mark by"
        f" {abs(100 * waiting.move_m):.0f} cm {way}, to {waiting.start_mark_m:.2f} m"
    )


class AdviceForm(ClubForm):
    """What a coach did about an advice that waits, chosen as it was last told."""

    sentences = {
        "advice_declined_with_reason": ("reason", "Say why the advice is declined."),
        "advice_published_is_followed": ("decision", "Only what is followed is published."),
    }
    waiting = forms.ChoiceField(
        label="advice",
        help_text="Of the last finished session of each run-up: only those that say to move.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if "waiting" in self.fields:
            chosen: Any = self.fields["waiting"]
            chosen.choices = [
                (str(each.state_id), name_of(each)) for each in selectors.list_waiting_advice()
            ]


@admin.register(Advice)
class AdviceAdmin(ClubModelAdmin):
    """What was advised, what a coach did, and whether it was right. Never changed."""

    words = ("advice", "advice")
    purpose = (
        "What was advised and what a coach then did about it, with what came after. An entry is "
        "never changed: who thinks again decides again. To add one is for a coach who cannot."
    )
    may_add = True
    additions_are_audited = True
    form = AdviceForm
    list_display = ("decided_at", "kind", "answer", "athlete", "approach", "decision", "published")
    list_display_links = ("decided_at",)
    list_select_related = ("approach__athlete", "published_plan")
    list_filter = (
        "kind",
        "decision",
        "answer",
        "finish_class",
        ("approach__athlete", admin.RelatedOnlyFieldListFilter),
    )
    search_fields = OF_ATHLETE
    date_hierarchy = "decided_at"
    ordering = ("-decided_at", "-id")

    def get_queryset(self, request: HttpRequest) -> Any:
        return super().get_queryset(request).select_related("decided_by__user", "plan")

    def get_fields(self, request: HttpRequest, obj: Any = None) -> Any:
        if obj is None:
            return ("waiting", "decision", "reason")
        return (
            "athlete",
            ("kind", "approach", "finish_class"),
            "text",
            "reasons",
            ("n", "through_attempt", "plan"),
            ("decision", "decided_at", "decided_by_person"),
            "reason",
            "published",
            "came_after",
        )

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> Any:
        if obj is None:
            return ()
        return ("athlete", "text", "reasons", "decided_by_person", "published", "came_after")

    @admin.display(description="athlete", ordering="approach__athlete__family_name")
    def athlete(self, advice: Advice) -> str:
        return link_athlete(advice.approach.athlete)

    @admin.display(description="what was advised")
    def text(self, advice: Advice) -> str:
        return str(advice.told["text"])

    @admin.display(description="because")
    def reasons(self, advice: Advice) -> str:
        return format_html(
            "<ul>{}</ul>",
            format_html_join(
                "", "<li>{}</li>", [(each["text"],) for each in advice.told["reasons"]]
            ),
        )

    @admin.display(description="decided by")
    def decided_by_person(self, advice: Advice) -> str:
        return NOTHING if advice.decided_by is None else advice.decided_by.user.email

    @admin.display(description="plan made from it")
    def published(self, advice: Advice) -> str:
        plan = advice.published_plan
        return NOTHING if plan is None else f"revision {plan.revision}"

    @admin.display(description="what came after")
    def came_after(self, advice: Advice) -> str:
        found = afterwards.look_back_on([advice])[advice.id]
        return NOTHING_TO_CHECK if found is None else looking_back.tell_of(found)

    def add_row(self, request: HttpRequest, obj: Any, form: Any) -> Advice:
        chosen = UUID(form.cleaned_data["waiting"])
        waiting = next(
            (each for each in selectors.list_waiting_advice() if each.state_id == chosen), None
        )
        if waiting is None:
            raise InvalidInputError("This advice waits no more: somebody decided, or it changed.")
        caller = caller_of(request)
        made = advising.decide_on_mark(
            club=caller.club,
            approach_id=waiting.approach_id,
            finish_class=FinishClass(waiting.finish_class),
            seen=advising.Seen(waiting.through_attempt, "move", waiting.start_mark_m),
            decided=advising.Decided(
                AdviceDecision(form.cleaned_data["decision"]), form.cleaned_data["reason"]
            ),
            today=today_at(caller.club),
            caller=caller,
        )
        # The page names what it added by the form's own row.
        obj.kind, obj.decided_at = made.kind, made.decided_at
        return made
