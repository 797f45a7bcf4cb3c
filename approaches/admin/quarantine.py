"""The page of refused rows: looked at, mended, pushed again."""

import json
from collections import Counter
from typing import Any
from uuid import UUID

import msgspec
from django import forms
from django.contrib import admin, messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.timesince import timesince, timeuntil

from approaches.models import QuarantinedRow, RowKind
from approaches.services import replaying
from clubs.admin import ClubForm, ClubModelAdmin, caller_of
from common.errors import DomainError, Fault

PAGES_OF_KIND = {
    RowKind.ATTEMPT: "admin:approaches_attempt_change",
    RowKind.GATE_RUN: "admin:approaches_gaterun_change",
}


def show_raw(raw: str) -> str:
    """Return a row as it was sent, with a line for each field if it is JSON; no number is read."""
    try:
        return msgspec.json.format(raw, indent=2)
    except (msgspec.MsgspecError, RecursionError):
        return raw


class MendForm(ClubForm):
    """A refused row as text; what the service refuses again stands beside it."""

    row = forms.CharField(
        label="Row",
        widget=forms.Textarea(attrs={"rows": 22, "class": "raw", "spellcheck": "false"}),
        help_text="Mend what is wrong, or leave it as it is when what it named is there now.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["row"] = show_raw(self.instance.raw)

    @property
    def mended(self) -> dict[str, Any] | None:
        """Return the row as it was mended, or None when it was left as it came."""
        mended: dict[str, Any] | None = self.cleaned_data["row"]
        return mended

    def clean_row(self) -> dict[str, Any] | None:
        text = self.cleaned_data["row"].replace("\r\n", "\n")
        if text.strip() == self.initial["row"].strip():
            return None
        try:
            mended = json.loads(text)
        except (ValueError, RecursionError) as error:
            raise ValidationError(f"This is not JSON: {error}.", code="not_json") from error
        if not isinstance(mended, dict):
            raise ValidationError("A row is a JSON object, in braces.", code="not_json")
        return mended

    def _repeat_refusal(self, refusal: DomainError) -> None:
        for fault in refusal.faults or [Fault("", refusal.code, refusal.detail)]:
            where = f"{fault.pointer}: " if fault.pointer else ""
            self.add_error("row", f"{where}{fault.detail} ({fault.code})")


class Replayed(admin.SimpleListFilter):
    title = "state"
    parameter_name = "replayed"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[Any, str]]:
        return [("0", "waiting"), ("1", "replayed")]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Any]) -> QuerySet[Any]:
        if self.value() in {"0", "1"}:
            return queryset.filter(replayed_at__isnull=self.value() == "0")
        return queryset


@admin.register(QuarantinedRow)
class QuarantinedRowAdmin(ClubModelAdmin):
    """Rows that were refused, with the reason. They wait for 30 days to be mended and replayed."""

    words = ("refused row", "refused rows")
    purpose = (
        "Rows that could not be stored, each with its reason. Open one, mend it and press Replay; "
        "after 30 days it is gone."
    )
    may_change = True
    changes_are_audited = True
    form = MendForm
    change_form_template = "approaches/admin/refused_row.html"
    list_display = ("received_at", "state", "reason", "what", "source", "left")
    list_select_related = ("source",)
    list_filter = (
        Replayed,
        "kind",
        "code",
        ("source", admin.RelatedOnlyFieldListFilter),
    )
    search_fields = ("external_id", "code", "pointer", "detail")
    date_hierarchy = "received_at"
    ordering = ("-received_at", "-id")
    actions = ("replay",)
    readonly_fields = (
        "source",
        "kind",
        "external_id",
        "code",
        "pointer",
        "detail",
        "state",
        "received_at",
        "age",
        "left",
        "as_sent",
    )

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return obj is None or obj.replayed_at is None

    def get_fields(self, request: HttpRequest, obj: Any = None) -> Any:
        return (
            "detail",
            ("code", "pointer"),
            ("source", "kind", "external_id"),
            ("received_at", "age", "left"),
            "state",
            "row" if obj is None or obj.replayed_at is None else "as_sent",
        )

    @admin.display(description="state", ordering="replayed_at")
    def state(self, row: QuarantinedRow) -> str:
        if row.replayed_at is None:
            return format_html('<span class="state state-waiting">{}</span>', "waiting")
        return format_html('<span class="state state-done">{}</span>', "replayed")

    @admin.display(description="reason", ordering="code")
    def reason(self, row: QuarantinedRow) -> str:
        where = f"{row.code} at {row.pointer}" if row.pointer else row.code
        return format_html('{} <span class="aside">({})</span>', row.detail, where)

    @admin.display(description="row", ordering="external_id")
    def what(self, row: QuarantinedRow) -> str:
        return f"{row.get_kind_display()} {row.external_id}"

    @admin.display(description="age", ordering="-received_at")
    def age(self, row: QuarantinedRow) -> str:
        return timesince(row.received_at, timezone.now(), depth=1)

    @admin.display(description="kept for another", ordering="expires_at")
    def left(self, row: QuarantinedRow) -> str:
        return timeuntil(row.expires_at, timezone.now(), depth=1)

    @admin.display(description="as sent")
    def as_sent(self, row: QuarantinedRow) -> str:
        return format_html('<pre class="raw" tabindex="0">{}</pre>', show_raw(row.raw))

    def change_row(self, request: HttpRequest, obj: Any, form: Any) -> None:
        caller = caller_of(request)
        obj.replayed = replaying.replay_row(
            club=caller.club, row_id=obj.id, caller=caller, mended=form.mended
        )

    def response_change(self, request: HttpRequest, obj: Any) -> HttpResponse:
        """Say what the row was stored as, and where."""
        replayed: replaying.Replayed = obj.replayed
        address = reverse(PAGES_OF_KIND[replayed.kind], args=[replayed.id])
        stored = "Stored as" if replayed.created else "Stored before as"
        text = format_html(
            '{} <a href="{}">{} {}</a>.',
            stored,
            address,
            replayed.kind.label.lower(),
            replayed.external_id,
        )
        messages.success(request, text)
        return redirect("admin:approaches_quarantinedrow_changelist")

    @admin.action(description="Replay selected rows as they are")
    def replay(self, request: HttpRequest, chosen: QuerySet[QuarantinedRow]) -> None:
        caller = caller_of(request)
        waiting = chosen.filter(replayed_at=None).order_by("received_at", "id")
        ids: list[UUID] = list(waiting.values_list("id", flat=True))
        refused: Counter[str] = Counter()
        for row_id in ids:
            try:
                with transaction.atomic():
                    replaying.replay_row(club=caller.club, row_id=row_id, caller=caller)
            except DomainError as error:
                refused[error.faults[0].code if error.faults else error.code] += 1
        stored = len(ids) - refused.total()
        why = ", ".join(f"{count} {code}" for code, count in refused.most_common())
        self.message_user(
            request,
            f"{stored} of {len(ids)} stored." + (f" Refused again: {why}." if refused else ""),
            messages.WARNING if refused else messages.SUCCESS,
        )
