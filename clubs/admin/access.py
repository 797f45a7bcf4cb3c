"""Pages of what may push or ask: sources, tokens, and the audit of what was done."""

from typing import Any

from django import forms
from django.contrib import admin
from django.http import HttpRequest, HttpResponse
from django.template.response import TemplateResponse
from django.utils import timezone

from clubs.admin.rows import (
    ClubForm,
    ClubInline,
    ClubModelAdmin,
    audit,
    caller_of,
    list_audit_with_names,
)
from clubs.admin.words import NOTHING, StateFilter
from clubs.models import AccessToken, AuditEntry, Source, SourceKind
from clubs.services import access


class TokenInline(ClubInline):
    model = AccessToken
    fields = readonly_fields = ("name", "public_id", "scopes", "expires_at", "revoked_at")
    verbose_name_plural = "tokens"


class NewSourceForm(ClubForm):
    kind = forms.ChoiceField(
        choices=[choice for choice in SourceKind.choices if choice[0] != SourceKind.PERSON],
        help_text="A person's source comes with the membership.",
    )


@admin.register(Source)
class SourceAdmin(ClubModelAdmin):
    """Devices, scripts and imports. A closed source and its tokens push no more."""

    purpose = (
        "What sends measurements: timing systems, scripts and imports. One that is closed sends "
        "no more."
    )
    may_add = True
    may_change = True
    additions_are_audited = True
    inlines = (TokenInline,)
    list_display = ("name", "kind", "person", "created_at", "closed_at")
    list_filter = ("kind", ("closed_at", StateFilter))
    list_select_related = ("membership__user",)
    search_fields = ("name", "membership__user__email")
    ordering = ("name",)

    def get_form(
        self, request: HttpRequest, obj: Any = None, change: bool = False, **kwargs: Any
    ) -> Any:
        if not change:
            kwargs["form"] = NewSourceForm
        return super().get_form(request, obj, change, **kwargs)

    def get_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return ("name", "kind") if obj is None else ("name", "kind", "closed_at", "created_at")

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        if obj is None:
            return ()
        # A person's source follows the membership.
        its_person = obj.kind == SourceKind.PERSON
        return ("kind", "created_at", *(("name", "closed_at") if its_person else ()))

    @admin.display(description="person", ordering="membership__user__email")
    def person(self, source: Source) -> str:
        return NOTHING if source.membership is None else source.membership.user.email

    def add_row(self, request: HttpRequest, obj: Any, form: Any) -> Source:
        caller = caller_of(request)
        return access.add_source(
            club=caller.club, name=obj.name, kind=SourceKind(obj.kind), caller=caller
        )


# What the parts of a scope stand for, for who has never seen one.
SUBJECTS = {
    "analytics": "figures and alerts",
    "athletes": "athletes and squads",
    "attempts": "attempts and sessions",
    "club": "the club's own records",
    "gates": "gate runs",
    "plans": "run-ups and plans",
}


def describe_scope(scope: str) -> str:
    subject, _, right = scope.partition(":")
    return f"{right} {SUBJECTS.get(subject, subject)} ({scope})"


class NewTokenForm(ClubForm):
    scopes = forms.MultipleChoiceField(
        choices=[(scope, describe_scope(scope)) for scope in sorted(access.PERSON_SCOPES)],
        label="It may",
        widget=forms.CheckboxSelectMultiple,
        help_text=f"A source may be given: {', '.join(sorted(access.DEVICE_SCOPES))}.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        source: Any = self.fields["source"]
        source.queryset = Source.objects.filter(closed_at=None).exclude(kind=SourceKind.PERSON)
        source.empty_label = "myself"
        source.help_text = "Who will use it. A token of your own may do what you may, or less."


@admin.register(AccessToken)
class AccessTokenAdmin(ClubModelAdmin):
    """Tokens of sources and of people. The secret is shown once, when the token is made."""

    purpose = (
        "Keys with which sources and people's scripts enter. A key is shown once, when it is "
        "made; one that is lost is revoked and replaced."
    )
    may_add = True
    may_change = True
    may_delete = True
    additions_are_audited = True
    list_display = (
        "name",
        "public_id",
        "source",
        "person",
        "expires_at",
        "revoked_at",
        "last_used_date",
    )
    list_filter = (("revoked_at", StateFilter),)
    list_select_related = ("source", "membership__user")
    search_fields = ("name", "public_id", "source__name", "membership__user__email")
    ordering = ("-created_at",)
    actions = ("revoke",)

    def get_form(
        self, request: HttpRequest, obj: Any = None, change: bool = False, **kwargs: Any
    ) -> Any:
        if not change:
            kwargs["form"] = NewTokenForm
        return super().get_form(request, obj, change, **kwargs)

    def get_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        if obj is None:
            return ("name", "source", "scopes", "expires_at")
        return ("name", "revoked_at", *self.get_readonly_fields(request, obj))

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        if obj is None:
            return ()
        return ("public_id", "source", "person", "scopes", "expires_at", "last_used_date")

    @admin.display(description="person", ordering="membership__user__email")
    def person(self, token: AccessToken) -> str:
        return NOTHING if token.membership is None else token.membership.user.email

    def add_row(self, request: HttpRequest, obj: Any, form: Any) -> AccessToken:
        caller = caller_of(request)
        wanted = {
            "name": obj.name,
            "scopes": form.cleaned_data["scopes"],
            "expires_at": obj.expires_at,
            "caller": caller,
        }
        if obj.source is None:
            new = access.add_own_token(**wanted)
        else:
            new = access.add_token(club=caller.club, source=obj.source, **wanted)
        obj.secret = new.secret
        obj.public_id = new.token.public_id
        return new.token

    def response_add(
        self, request: HttpRequest, obj: Any, post_url_continue: str | None = None
    ) -> HttpResponse:
        """Show the secret in the answer itself: a message would be kept in a cookie or a table."""
        context = {
            **self.admin_site.each_context(request),
            "title": "New token",
            "token": obj,
            "secret": obj.secret,
            "opts": self.opts,
        }
        return TemplateResponse(request, "admin/new_token.html", context)

    @admin.action(description="Revoke selected tokens now")
    def revoke(self, request: HttpRequest, tokens: Any) -> None:
        live = list(tokens.filter(revoked_at=None))
        AccessToken.objects.filter(id__in=[token.id for token in live]).update(
            revoked_at=timezone.now()
        )
        audit(request, "changed", live, field_names=["revoked_at"])
        self.message_user(request, f"{len(live)} revoked.")


@admin.register(AuditEntry)
class AuditEntryAdmin(ClubModelAdmin):
    """Who did what to which rows: ids and field names, never values."""

    purpose = "Who did what to which rows, and when. It holds neither names nor values."
    fields = (
        "at",
        "who",
        "actor_kind",
        "actor_id",
        "action",
        "subject_kind",
        "subject_ids",
        "field_names",
        "counts",
        "request_id",
    )
    readonly_fields = ("who",)
    list_display = ("at", "who", "did", "rows", "field_names")
    list_filter = ("subject_kind", "action")
    search_fields = ("action", "request_id")
    date_hierarchy = "at"
    ordering = ("-at", "-id")

    def get_queryset(self, request: HttpRequest) -> Any:
        return list_audit_with_names()

    @admin.display(description="who")
    def who(self, entry: Any) -> str:
        return str(entry.who)

    @admin.display(description="did what", ordering="action")
    def did(self, entry: AuditEntry) -> str:
        return entry.action.replace("_", " ")

    @admin.display(description="rows")
    def rows(self, entry: AuditEntry) -> str:
        count = len(entry.subject_ids)
        kind = entry.subject_kind.replace("_", " ")
        return f"{count} {kind}" if count == 1 else f"{count} of {kind}"
