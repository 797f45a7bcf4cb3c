"""Logging in and out, and choosing a club."""

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth import authenticate
from django.contrib.auth import views as log_ins
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm, UsernameField
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse, reverse_lazy
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.cache import never_cache

from clubs import selectors
from clubs.models import User


class LogInForm(AuthenticationForm):
    """Lets in who is a member of a club."""

    # One answer for a wrong password and for a former member's right one: guessing teaches nothing.
    error_messages = {"invalid_login": "This e-mail and password do not open a club's pages."}
    username = UsernameField(label="E-mail", widget=forms.EmailInput(attrs={"autofocus": True}))

    def clean_username(self) -> str:
        """Return one spelling of the address, so that log-in attempts are counted as one."""
        return str(self.cleaned_data["username"]).lower()

    def confirm_login_allowed(self, user: User) -> None:
        super().confirm_login_allowed(user)
        if not selectors.list_memberships_of(user):
            raise self.get_invalid_login_error()


@method_decorator(never_cache, name="dispatch")
class LogIn(log_ins.LoginView):
    """The door of the pages. Too many wrong passwords lock it, as the admin's."""

    authentication_form = LogInForm
    template_name = "clubs/pages/log_in.html"
    next_page = "pages:clubs"


@method_decorator(never_cache, name="dispatch")
class LogOut(log_ins.LogoutView):
    """Asks first: what was typed and waits for a line is sent only under the same log-in."""

    http_method_names = ["get", "post", "options"]
    next_page = "pages:log_in"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Ask, and name the person's memberships: a script counts what waits under them."""
        person = request.user
        memberships = selectors.list_memberships_of(person) if isinstance(person, User) else []
        return render(request, "clubs/pages/log_out.html", {"memberships": memberships})

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Log out, and have the browser forget what it read; what waits to be sent is kept."""
        response: HttpResponse = super().post(request, *args, **kwargs)
        # Cards and pictures may be kept under a log-in, and the next person may hold this phone
        # (Clear Site Data, W3C).
        response["Clear-Site-Data"] = '"cache"'
        return response


class NewPasswordForm(PasswordChangeForm):
    """Asks for the password so far: a phone that lies about gives nobody a log-in for good."""

    def __init__(self, *args: Any, request: HttpRequest, **options: Any) -> None:
        super().__init__(*args, **options)
        self._request = request

    def clean_old_password(self) -> str:
        """Return it, if it is right; wrong ones are counted as at the door, and lock it."""
        given = str(self.cleaned_data["old_password"])
        if authenticate(self._request, username=self.user.get_username(), password=given) is None:
            raise forms.ValidationError(
                self.error_messages["password_incorrect"], code="password_incorrect"
            )
        return given


@method_decorator(never_cache, name="dispatch")
class NewPassword(log_ins.PasswordChangeView):
    """A new password: every other browser in which the person is logged in is logged out by it.

    A log-in carries a keyed hash of the password's hash, which Django compares at each request.
    """

    form_class = NewPasswordForm
    template_name = "clubs/pages/password.html"
    success_url = reverse_lazy("pages:clubs")

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "request": self.request}

    def form_valid(self, form: Any) -> HttpResponse:
        messages.success(self.request, "The new password holds. Other browsers are logged out.")
        return super().form_valid(form)


@method_decorator(never_cache, name="dispatch")
class Clubs(View):
    """The clubs of a person; who has one only goes straight there."""

    def get(self, request: HttpRequest) -> HttpResponse:
        person = request.user
        if not isinstance(person, User):
            return redirect_to_login(request.get_full_path(), reverse("pages:log_in"))
        memberships = selectors.list_memberships_of(person)
        if len(memberships) == 1:
            return redirect("pages:club", memberships[0].club.slug)
        return render(request, "clubs/pages/clubs.html", {"memberships": memberships})
