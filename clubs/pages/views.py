"""Logging in and out, and choosing a club."""

from typing import Any

from django import forms
from django.contrib.auth import views as log_ins
from django.contrib.auth.forms import AuthenticationForm, UsernameField
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
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
        return render(request, "clubs/pages/log_out.html")

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Log out, and have the browser forget what it read; what waits to be sent is kept."""
        response: HttpResponse = super().post(request, *args, **kwargs)
        # Cards and pictures may be kept under a log-in, and the next person may hold this phone
        # (Clear Site Data, W3C).
        response["Clear-Site-Data"] = '"cache"'
        return response


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
