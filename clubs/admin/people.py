"""The page of a club's people: their log-ins and roles."""

from typing import Any

from django import forms
from django.contrib import admin
from django.contrib.auth import password_validation
from django.http import HttpRequest

from clubs.admin.rows import ClubForm, ClubModelAdmin, caller_of
from clubs.admin.words import StateFilter
from clubs.models import Membership, Role
from clubs.services import people
from common.versions import ANY_VERSION


class NewMemberForm(ClubForm):
    """Asks for a person by e-mail; it does not tell whether the address has a log-in already."""

    email = forms.EmailField(label="E-mail", max_length=254)
    password = forms.CharField(
        required=False,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=(
            "For a new log-in. Only admins log in here, so coaches and athletes need none. "
            "An address that has a log-in already keeps its password."
        ),
    )

    def clean_password(self) -> str | None:
        password = self.cleaned_data["password"]
        if not password:
            return None
        password_validation.validate_password(password)
        return str(password)


@admin.register(Membership)
class MembershipAdmin(ClubModelAdmin):
    """People of the club. Nobody is deleted: a membership ends."""

    purpose = (
        "Who belongs to the club, and as what. Admins log in here; coaches and athletes use the "
        "tokens of their scripts and apps."
    )
    may_add = True
    may_change = True
    additions_are_audited = True
    changes_are_audited = True
    list_display = ("email", "role", "ended_at")
    list_filter = ("role", ("ended_at", StateFilter))
    list_select_related = ("user",)
    search_fields = ("user__email",)
    ordering = ("user__email",)

    def get_form(
        self, request: HttpRequest, obj: Any = None, change: bool = False, **kwargs: Any
    ) -> Any:
        if not change:
            kwargs["form"] = NewMemberForm
        return super().get_form(request, obj, change, **kwargs)

    def get_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return ("email", "role", "password") if obj is None else ("email", "role", "ended_at")

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        if obj is None:
            return ()
        # Who could end the own membership might leave the club without an admin.
        own = obj.id == caller_of(request).membership_id
        return ("email", "role", "ended_at") if own else ("email",)

    def name_in_choices(self, row: Membership) -> str:
        return f"{row.user.email} ({row.get_role_display()})"

    @admin.display(description="E-mail", ordering="user__email")
    def email(self, membership: Membership) -> str:
        return membership.user.email

    def add_row(self, request: HttpRequest, obj: Any, form: Any) -> Membership:
        return people.add_member(
            club=caller_of(request).club,
            email=form.cleaned_data["email"],
            role=Role(form.cleaned_data["role"]),
            password=form.cleaned_data["password"],
            caller=caller_of(request),
        )

    def change_row(self, request: HttpRequest, obj: Any, form: Any) -> None:
        caller = caller_of(request)
        people.change_member(
            club=caller.club,
            member_id=obj.pk,
            expected=ANY_VERSION,
            changes={name: form.cleaned_data[name] for name in form.changed_data},
            caller=caller,
        )
