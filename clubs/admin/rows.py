"""What every page of a club's rows has in common: rights, the club, refusals and the audit."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, ClassVar, cast
from uuid import UUID

from django import forms
from django.contrib import admin, messages
from django.contrib.admin.utils import unquote
from django.contrib.admin.widgets import RelatedFieldWidgetWrapper
from django.core.exceptions import NON_FIELD_ERRORS, PermissionDenied, ValidationError
from django.db import IntegrityError
from django.db.models import (
    Field,
    ForeignKey,
    Model,
    OuterRef,
    QuerySet,
    Subquery,
    UniqueConstraint,
    Value,
)
from django.db.models.functions import Coalesce
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.template.response import TemplateResponse
from django.utils import timezone
from django.utils.text import capfirst

from clubs.admin.fields import MembershipField, UserField
from clubs.admin.words import NOTHING
from clubs.models import AccessToken, AuditEntry, Club, ClubRow, Membership, User
from clubs.selectors import Caller
from clubs.services import auditing
from common import texts
from common.club_scope import current_club_id
from common.errors import DomainError, InvalidInputError

if TYPE_CHECKING:
    _ModelForm = forms.ModelForm[Any]
    _ModelAdmin = admin.ModelAdmin[Any]
    _TabularInline = admin.TabularInline[Any, Any]
else:
    _ModelForm = forms.ModelForm
    _ModelAdmin = admin.ModelAdmin
    _TabularInline = admin.TabularInline

# A moment from which on a row counts no more. Any value ends it, so none may lie ahead.
ENDINGS = ("archived_at", "closed_at", "ended_at", "revoked_at")
# The person's clock fills in "now", and may be ahead of ours.
CLOCKS_DIFFER_BY = timedelta(minutes=5)
HISTORY_LENGTH = 200


class ClubRequest(HttpRequest):
    """A request as the site hands it on: who asks is known, and one club is in scope."""

    administered_clubs: list[Club]
    caller: Caller
    refusal: DomainError | None


class ClubForm(_ModelForm):
    """A form for a row of the club in scope.

    `sentences` says for a check of the database which field is wrong, and why.
    """

    sentences: ClassVar[Mapping[str, tuple[str, str]]] = {}
    # What a service refused when this form was saved a moment ago.
    refusal: ClassVar[DomainError | None] = None

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        club_id = current_club_id()
        if isinstance(self.instance, ClubRow) and self.instance._state.adding and club_id:
            self.instance.club_id = club_id

    def _clean_fields(self) -> None:
        """Hold every text of a record to the rule that the API holds it to."""
        super()._clean_fields()  # type: ignore[misc]  # not in the stubs
        for field in self.instance._meta.fields:
            name, value = field.name, self.cleaned_data.get(field.name)
            if not isinstance(value, str):
                continue
            unseen = texts.find_unseen(value)
            if unseen is None:
                self.cleaned_data[name] = texts.composed(value)
            else:
                self.add_error(name, f"It holds a sign that nobody sees: {texts.name_of(unseen)}.")

    def full_clean(self) -> None:
        super().full_clean()
        if not self.is_bound or (self.empty_permitted and not self.has_changed()):
            return
        self._say_which_check_failed()
        self._refuse_duplicates()
        self._refuse_endings_ahead()
        if self.refusal is not None:
            self._repeat_refusal(self.refusal)

    def _say_which_check_failed(self) -> None:
        """Put a sentence at the field in place of the name of a constraint."""
        errors = self.errors.get(NON_FIELD_ERRORS)
        if not errors:
            return
        known = {
            constraint.get_violation_error_message(): self.sentences[constraint.name]
            for constraint in self.instance._meta.constraints
            if constraint.name in self.sentences
        }
        for text in list(errors):
            if text in known:
                errors.data = [each for each in errors.as_data() if text not in each.messages]
                self.add_error(*known[text])
        if not errors:
            del self.errors[NON_FIELD_ERRORS]

    def _refuse_duplicates(self) -> None:
        """Check what is unique within the club.

        Django leaves out constraints over fields that are not in the form, as the club never is.
        """
        for constraint in self.instance._meta.constraints:
            if not isinstance(constraint, UniqueConstraint) or "club" not in constraint.fields:
                continue
            typed = [name for name in constraint.fields if name in self.fields]
            if not typed or any(name in self.errors for name in typed):
                continue
            try:
                constraint.validate(type(self.instance), self.instance)
            except ValidationError:
                kind = self.instance._meta.verbose_name
                self.add_error(typed[-1], f"Another {kind} of the club has this already.")

    def _refuse_endings_ahead(self) -> None:
        latest = timezone.now() + CLOCKS_DIFFER_BY
        for name in ENDINGS:
            ending = self.cleaned_data.get(name)
            if isinstance(ending, datetime) and ending > latest:
                self.add_error(name, "This takes effect at once, so it cannot lie ahead.")

    def _repeat_refusal(self, refusal: DomainError) -> None:
        for fault in refusal.faults:
            field = fault.pointer.lstrip("/").partition("/")[0]
            self.add_error(field if field in self.fields else None, fault.detail)
        if not refusal.faults:
            self.add_error(None, refusal.detail)


class Rights:
    """Who is on a page is an admin of the club; what may be done here, the page says itself.

    Mixed into pages and inlines. Django's permissions are not asked: nobody has any.
    """

    empty_value_display = NOTHING
    may_add: ClassVar[bool] = False
    may_change: ClassVar[bool] = False
    may_delete: ClassVar[bool] = False

    def has_module_permission(self, request: HttpRequest) -> bool:
        return True

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return True

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return self.may_add

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return self.may_change

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return self.may_delete


def choose_person(
    db_field: "ForeignKey[Any, Any]", options: dict[str, Any]
) -> MembershipField | UserField | None:
    """Return the field that shows people by e-mail, or None for a reference to something else.

    Log-ins have no wall: they are reached through memberships, which have one.
    """
    options = {"required": not db_field.blank, "help_text": db_field.help_text, **options}
    if db_field.related_model is Membership:
        live = Membership.objects.filter(ended_at=None).select_related("user")
        return MembershipField(**{"queryset": live.order_by("user__email"), **options})
    if db_field.related_model is User:
        members = Membership.objects.values("user_id")
        people = User.objects.filter(id__in=members).order_by("email")
        return UserField(**{"queryset": people, "label": "Log-in", **options})
    return None


def leave_out_windows(field: Any) -> Any:
    """Take from a choice of rows the buttons that edit those rows in small windows.

    They crowd the forms and are no use on a phone; each row has its page.
    """
    widget = getattr(field, "widget", None)
    if isinstance(widget, RelatedFieldWidgetWrapper):
        widget.can_add_related = widget.can_change_related = False
        widget.can_delete_related = widget.can_view_related = False
    return field


class ClubInline(Rights, _TabularInline):
    """Rows of the club that are edited on another row's page."""

    form: Any = ClubForm
    extra = 0
    show_change_link = False

    def formfield_for_dbfield(self, db_field: Any, request: Any, **kwargs: Any) -> Any:
        return leave_out_windows(super().formfield_for_dbfield(db_field, request, **kwargs))

    def formfield_for_foreignkey(
        self, db_field: "ForeignKey[Any, Any]", request: HttpRequest, **kwargs: Any
    ) -> Any:
        return choose_person(db_field, {}) or super().formfield_for_foreignkey(
            db_field, request, **kwargs
        )


class ClubModelAdmin(Rights, _ModelAdmin):
    """The page of one kind of row.

    Rows are those of the club in scope. What is saved is noted in the audit with ids and field
    names, and not in Django's admin log, which stores what rows are called.
    """

    form: Any = ClubForm
    list_per_page = 50
    # A count of all rows beside the count of those found would cost a second scan.
    show_full_result_count = False
    show_facets = admin.ShowFacets.NEVER
    # One sentence for who opens the page for the first time.
    purpose: ClassVar[str] = ""
    # What a row is called here, and several, where the model's name is a word of the code.
    words: ClassVar[tuple[str, str] | None] = None
    change_list_template = "admin/club_change_list.html"
    add_form_template = change_form_template = "admin/club_change_form.html"
    object_history_template = "admin/club_history.html"
    # Whether `add_row`, or `change_row`, calls a service that writes the audit entry itself.
    additions_are_audited: ClassVar[bool] = False
    changes_are_audited: ClassVar[bool] = False

    def changelist_view(
        self, request: HttpRequest, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        """Say what the page lists, and what for."""
        title = capfirst(str(self.opts.verbose_name_plural))
        said = {} if "_popup" in request.GET else {"title": title, "purpose": self.purpose}
        return super().changelist_view(request, {**said, **(extra_context or {})})

    def formfield_for_dbfield(self, db_field: Any, request: Any, **kwargs: Any) -> Any:
        return leave_out_windows(super().formfield_for_dbfield(db_field, request, **kwargs))

    def formfield_for_foreignkey(
        self, db_field: "ForeignKey[Any, Any]", request: HttpRequest, **kwargs: Any
    ) -> Any:
        autocompleted = db_field.name in self.get_autocomplete_fields(request)
        chosen = None if autocompleted else choose_person(db_field, {})
        if chosen is not None:
            return chosen
        field: Any = super().formfield_for_foreignkey(db_field, request, **kwargs)
        page: Any = self.admin_site._registry.get(db_field.related_model)
        if isinstance(page, ClubModelAdmin):
            field.label_from_instance = page.name_in_choices
        return field

    def name_in_choices(self, row: Any) -> str:
        """Return what tells the row from others where one of them is chosen."""
        return str(row)

    def get_form(
        self, request: HttpRequest, obj: Any = None, change: bool = False, **kwargs: Any
    ) -> Any:
        form: Any = super().get_form(request, obj, change=change, **kwargs)
        form.refusal = getattr(request, "refusal", None)  # a class of this request's own
        return form

    def changeform_view(
        self,
        request: HttpRequest,
        object_id: str | None = None,
        form_url: str = "",
        extra_context: dict[str, Any] | None = None,
    ) -> Any:
        """Answer with the filled-in form when a service or the database refuses to save it."""
        if request.method == "POST" and self._is_for_another_club(request):
            messages.error(request, "You had changed to another club meanwhile: nothing was saved.")
            return redirect("admin:index")
        try:
            return super().changeform_view(request, object_id, form_url, extra_context)
        except DomainError as error:
            refusal = error
        except IntegrityError:
            # Forms check what they can; what is left are two people at once, and rows in use.
            refusal = InvalidInputError("Other rows of the club do not allow this.")
        cast(ClubRequest, request).refusal = refusal
        return super().changeform_view(request, object_id, form_url, extra_context)

    def _is_for_another_club(self, request: HttpRequest) -> bool:
        return request.POST.get("_club") != str(caller_of(request).club.id)

    def get_formset_kwargs(
        self, request: HttpRequest, obj: Any, inline: Any, prefix: str
    ) -> dict[str, Any]:
        if obj._state.adding:
            # A new row's key is an expression until it is stored; inlines look for none instead.
            obj.pk = None
        return super().get_formset_kwargs(request, obj, inline, prefix)

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        if change:
            self.change_row(request, obj, form)
        else:
            made = self.add_row(request, obj, form)
            obj.pk = made.pk
            obj._state.adding = False

    def add_row(self, request: HttpRequest, obj: Any, form: Any) -> Model:
        """Store a new row and return it; pages with a service for it call the service."""
        obj.pk = obj._meta.pk.get_default()
        obj.save(force_insert=True)
        return cast(Model, obj)

    def change_row(self, request: HttpRequest, obj: Any, form: Any) -> None:
        """Store what was edited; pages with a service for it call the service."""
        # No other columns: an attempt or a refresh may write the row at the same time.
        obj.save(update_fields=[name for name in form.changed_data if _is_column(obj, name)])

    def save_formset(self, request: HttpRequest, form: Any, formset: Any, change: bool) -> None:
        super().save_formset(request, form, formset, change)
        audit(request, "added", formset.new_objects)
        for row, fields in formset.changed_objects:
            audit(request, "changed", [row], field_names=fields)
        audit(request, "deleted", formset.deleted_objects)

    def construct_change_message(
        self, request: HttpRequest, form: Any, formsets: Any, add: bool = False
    ) -> list[dict[str, dict[str, list[str]]]]:
        """Return the names of the edited fields; Django's own text would hold rows' names."""
        return [{"changed": {"fields": list(form.changed_data)}}]

    # The three return nothing where Django's return rows of its admin log, which stays empty.
    def log_addition(self, request: HttpRequest, obj: Model, message: Any) -> None:  # type: ignore[override]  # see above
        if not self.additions_are_audited:
            audit(request, "added", [obj])

    def log_change(self, request: HttpRequest, obj: Model, message: Any) -> None:  # type: ignore[override]  # see above
        fields = message[0]["changed"]["fields"]
        if fields and not self.changes_are_audited:
            audit(request, "changed", [obj], field_names=fields)

    def log_deletions(self, request: HttpRequest, queryset: Iterable[Model]) -> None:  # type: ignore[override]  # see above
        audit(request, "deleted", queryset)

    def history_view(
        self, request: HttpRequest, object_id: str, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        """Show what the audit knows of the row."""
        row = self.get_object(request, unquote(object_id))
        if row is None:
            return self.change_view(request, object_id)  # says it is missing
        if not self.has_view_permission(request, row):
            raise PermissionDenied
        entries = list_audit_with_names().filter(subject_ids__contains=[row.pk]).order_by("-at")
        context = {
            **self.admin_site.each_context(request),
            "title": f"History: {row}",
            "action_list": [
                {
                    "at": entry.at,
                    "who": entry.who,
                    "did": entry.action.replace("_", " "),
                    "field_names": [name.replace("_", " ") for name in entry.field_names],
                }
                for entry in entries[:HISTORY_LENGTH]
            ],
            "module_name": str(self.opts.verbose_name_plural).capitalize(),
            "object": row,
            "opts": self.opts,
            **(extra_context or {}),
        }
        return TemplateResponse(request, self.object_history_template, context)


def caller_of(request: HttpRequest) -> Caller:
    """Return the admin who asks."""
    return cast(ClubRequest, request).caller


def audit(
    request: HttpRequest, verb: str, rows: Iterable[Model], *, field_names: Iterable[str] = ()
) -> None:
    """Note what the admin did to rows of one kind, if there are any."""
    rows = list(rows)
    if not rows:
        return
    kind = subject_kind(type(rows[0]))
    caller = caller_of(request)
    auditing.record_audit(
        club=caller.club,
        caller=caller,
        action=f"{kind}_{verb}",
        subjects={kind: [cast(UUID, row.pk) for row in rows]},
        field_names=field_names,
    )


def subject_kind(model: type[Model]) -> str:
    """Return the word under which the audit knows a kind of row."""
    return "token" if model is AccessToken else str(model._meta.verbose_name).replace(" ", "_")


def list_audit_with_names() -> QuerySet[Any]:
    """Return the club's audit, with the e-mail or the token's name of who did it as `who`."""
    people = Membership.objects.filter(id=OuterRef("actor_id")).values("user__email")
    tokens = AccessToken.objects.filter(id=OuterRef("actor_id")).values("name")
    return AuditEntry.objects.annotate(
        who=Coalesce(Subquery(people), Subquery(tokens), Value("the service"))
    )


def _is_column(row: Model, name: str) -> bool:
    """Answer whether a form's field is stored in the row, and not made up for the form."""
    return any(isinstance(field, Field) and field.name == name for field in row._meta.fields)
