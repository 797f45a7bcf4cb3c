"""The page of a club's own alert rules."""

from typing import Any

from django import forms
from django.contrib import admin
from django.http import HttpRequest

from analytics import selectors
from analytics.core import alert_settings
from analytics.core.alert_settings import Kind
from analytics.models import AlertRule
from analytics.services import ruling
from clubs.admin import ClubForm, ClubModelAdmin, caller_of
from common.errors import DomainError, InvalidInputError
from common.versions import ANY_VERSION

_DEFAULTS = alert_settings.RULE_DEFAULTS
NAMES = (*alert_settings.COUNTS, *alert_settings.SHARES)


def _threshold(name: str) -> forms.Field:
    """Return the field of a threshold; what may stand in it is checked where it is changed."""
    kinds = [kind for kind in Kind if name in alert_settings.THRESHOLDS_OF_KIND[kind]]
    of_which = "" if len(kinds) == len(Kind) else f" Of {' and '.join(kinds)} only."
    text = f"Empty: {getattr(_DEFAULTS, name):g}, the default.{of_which}"
    number = forms.IntegerField if name in alert_settings.COUNTS else forms.FloatField
    return number(required=False, help_text=text)


class AlertRuleForm(ClubForm):
    """A rule with a field for each threshold; an empty one is the default."""

    calm_sessions = _threshold("calm_sessions")
    no_jump_share_limit = _threshold("no_jump_share_limit")
    no_jump_attempts = _threshold("no_jump_attempts")
    progress_probability = _threshold("progress_probability")
    progress_lost_probability = _threshold("progress_lost_probability")
    progress_sessions = _threshold("progress_sessions")
    progress_block_attempts = _threshold("progress_block_attempts")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.update(self.instance.thresholds)

    def _repeat_refusal(self, refusal: DomainError) -> None:
        """Put each fault at its threshold, which is a field of its own here."""
        for fault in refusal.faults:
            name = fault.pointer.rpartition("/")[2]
            self.add_error(name if name in self.fields else None, fault.detail)
        if not refusal.faults:
            self.add_error(None, refusal.detail)


@admin.register(AlertRule)
class AlertRuleAdmin(ClubModelAdmin):
    """Rules that the club set; a kind of alert that is not listed is judged by the defaults."""

    purpose = (
        "Whether a kind of alert is judged, and by which thresholds. What is not listed here is "
        "judged by the defaults. A change holds for the past, too: every session is judged anew."
    )
    may_add = True
    may_change = True
    additions_are_audited = True
    changes_are_audited = True
    form = AlertRuleForm
    list_display = ("kind", "is_active", "own_thresholds")
    list_filter = ("is_active",)
    search_fields = ("kind",)
    ordering = ("kind",)

    def get_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        names = NAMES if obj is None else alert_settings.THRESHOLDS_OF_KIND[Kind(obj.kind)]
        return ("kind", "is_active", *names)

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return () if obj is None else ("kind",)

    @admin.display(description="own thresholds")
    def own_thresholds(self, rule: AlertRule) -> str:
        own = [f"{name} {value:g}" for name, value in sorted(rule.thresholds.items())]
        return ", ".join(own) or "none: the defaults hold"

    def add_row(self, request: HttpRequest, obj: Any, form: Any) -> AlertRule:
        typed = {name: form.cleaned_data[name] for name in NAMES}
        held = self._change(
            request, obj, form, {name: each for name, each in typed.items() if each is not None}
        )
        if held.version == 0:
            raise InvalidInputError("These are the defaults already: there is nothing to keep.")
        return AlertRule.objects.get(kind=held.kind.value)

    def change_row(self, request: HttpRequest, obj: Any, form: Any) -> None:
        names = alert_settings.THRESHOLDS_OF_KIND[Kind(obj.kind)]
        self._change(request, obj, form, {name: form.cleaned_data[name] for name in names})

    def _change(
        self, request: HttpRequest, obj: Any, form: Any, thresholds: dict[str, Any]
    ) -> selectors.HeldRule:
        caller = caller_of(request)
        return ruling.change_alert_rule(
            club=caller.club,
            kind=obj.kind,
            # The form shows what the person saves over.
            expected=ANY_VERSION,
            changes={"is_active": form.cleaned_data["is_active"], "thresholds": thresholds},
            caller=caller,
        )
