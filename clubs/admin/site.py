"""The admin site: a club's admin sees one club at a time, and renders inside its scope."""

from collections.abc import Callable, Iterable
from functools import update_wrapper
from typing import Any, TypeVar, cast

from django import forms
from django.apps import apps
from django.contrib import admin
from django.contrib.admin.views.autocomplete import AutocompleteJsonView
from django.contrib.auth.forms import AuthenticationForm, UsernameField
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.template.response import SimpleTemplateResponse, TemplateResponse
from django.urls import URLPattern, URLResolver, path, reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_protect

from clubs import selectors
from clubs.admin import notices
from clubs.admin.rows import ClubModelAdmin, ClubRequest
from clubs.admin.words import spell_names
from clubs.models import Club, Membership, Role, User
from clubs.services import access
from common.club_scope import club_scope

# Under this key the session remembers the club.
CHOSEN_CLUB = "club"
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS", "TRACE"})

_View = TypeVar("_View", bound=Callable[..., HttpResponseBase])


class EmailLogInForm(AuthenticationForm):
    """Lets in who is an admin of a club."""

    # One answer for a wrong password and for a coach's right one, so that guessing teaches nothing.
    error_messages = {"invalid_login": "This e-mail and password do not open a club's admin."}
    username = UsernameField(label="E-mail", widget=forms.EmailInput(attrs={"autofocus": True}))

    def clean_username(self) -> str:
        """Return one spelling of the address, so that log-in attempts are counted as one."""
        return str(self.cleaned_data["username"]).lower()

    def confirm_login_allowed(self, user: User) -> None:
        super().confirm_login_allowed(user)
        if not selectors.list_clubs_administered_by(user):
            raise self.get_invalid_login_error()


class RowChoices(AutocompleteJsonView):
    """Rows to choose from, called as their page calls them in choices."""

    def serialize_result(self, obj: Model, to_field_name: str) -> dict[str, str]:
        page = cast(ClubModelAdmin, self.model_admin)
        return {
            **super().serialize_result(obj, to_field_name),
            "text": page.name_in_choices(obj),
        }


class ClubAdminSite(admin.AdminSite):
    """The records of the club that the session has chosen."""

    site_header = site_title = "Penult"
    index_title = "Club records"
    index_template = "admin/club_index.html"
    site_url = None
    login_form = EmailLogInForm

    def register(
        self,
        model_or_iterable: type[Model] | Iterable[type[Model]],
        admin_class: "type[admin.ModelAdmin[Any]] | None" = None,
        **options: Any,
    ) -> None:
        """Register pages that keep the club's rules.

        Installed packages register pages for tables without a club (groups, log-in attempts); a
        club's admin has no business there, so they get no address.
        """
        if admin_class is None or not issubclass(admin_class, ClubModelAdmin):
            return
        models = [model_or_iterable] if isinstance(model_or_iterable, type) else model_or_iterable
        for model in models:
            if admin_class.words is not None:
                model._meta.verbose_name, model._meta.verbose_name_plural = admin_class.words
            for shown in (model, *(inline.model for inline in admin_class.inlines)):
                spell_names(shown)
            super().register(model, admin_class, **options)

    def get_urls(self) -> list[URLPattern | URLResolver]:
        return [path("choose-club/", self.choose_club, name="choose_club"), *super().get_urls()]

    def get_app_list(
        self, request: HttpRequest, app_label: str | None = None
    ) -> list[dict[str, Any]]:
        """Return the pages app by app, the club's own last: those are changed least."""
        found = super().get_app_list(request, app_label)
        for app in found:
            for page in app["models"]:
                page["purpose"] = getattr(self._registry[page["model"]], "purpose", "")
        order = [config.label for config in apps.get_app_configs()]
        own = Club._meta.app_label
        return sorted(
            found, key=lambda app: (app["app_label"] == own, order.index(app["app_label"]))
        )

    def autocomplete_view(self, request: HttpRequest) -> HttpResponse:
        return cast(HttpResponse, RowChoices.as_view(admin_site=self)(request))

    def index(
        self, request: HttpRequest, extra_context: dict[str, Any] | None = None
    ) -> TemplateResponse:
        """Begin with what waits for the admin."""
        waiting = notices.list_notices(cast(ClubRequest, request).caller)
        return super().index(request, {"notices": waiting, **(extra_context or {})})

    def has_permission(self, request: HttpRequest) -> bool:
        return bool(_administered_clubs(request))

    def admin_view(self, view: _View, cacheable: bool = False) -> _View:
        """Show `view` the chosen club's rows only, read-only unless something was posted."""

        def in_club(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if request.path == reverse("admin:logout"):
                return view(request, *args, **kwargs)
            club = _find_chosen_club(request)
            if club is None:
                return redirect("admin:choose_club")
            reading = request.method in SAFE_METHODS
            with club_scope(club, read_only=reading), timezone.override(club.time_zone):
                club_request = cast(ClubRequest, request)
                club_request.caller = _caller(club, request)
                response = view(club_request, *args, **kwargs)
                # Templates ask for rows while they render, which must happen in the scope.
                if isinstance(response, SimpleTemplateResponse):
                    response.render()
                return response

        return super().admin_view(cast(_View, update_wrapper(in_club, view)), cacheable)

    def each_context(self, request: HttpRequest) -> dict[str, Any]:
        """Add to each page which club it shows, and whether there are others."""
        caller = getattr(request, "caller", None)
        return {
            **super().each_context(request),
            "club": None if caller is None else caller.club,
            "has_other_clubs": len(_administered_clubs(request)) > 1,
        }

    @method_decorator([never_cache, csrf_protect])
    def choose_club(self, request: HttpRequest) -> HttpResponse:
        """Let a person who administers several clubs say which one to show."""
        if not self.has_permission(request):
            return redirect_to_login(request.get_full_path(), reverse("admin:login"))
        clubs = _administered_clubs(request)
        if request.method == "POST":
            chosen = request.POST.get("club")
            if chosen not in {str(club.id) for club in clubs}:
                raise Http404
            request.session[CHOSEN_CLUB] = chosen
            return redirect("admin:index")
        context = {
            **self.each_context(request),
            "title": "Choose a club",
            "clubs": clubs,
            # Nothing can be listed before a club is chosen.
            "available_apps": [],
            "is_nav_sidebar_enabled": False,
        }
        return TemplateResponse(request, "admin/choose_club.html", context)


def _administered_clubs(request: HttpRequest) -> list[Club]:
    """Return the clubs of which the person is an admin now; asked once a request."""
    clubs: list[Club] | None = getattr(request, "administered_clubs", None)
    if clubs is None:
        user = request.user
        live = isinstance(user, User) and user.is_active
        clubs = selectors.list_clubs_administered_by(cast(User, user)) if live else []
        cast(ClubRequest, request).administered_clubs = clubs
    return clubs


def _find_chosen_club(request: HttpRequest) -> Club | None:
    """Return the session's club, if the person is its admin still.

    A club that was chosen and is lost is never replaced in silence: what the person is about to
    save was meant for the other one.
    """
    clubs = {str(club.id): club for club in _administered_clubs(request)}
    if CHOSEN_CLUB not in request.session and len(clubs) == 1:
        request.session[CHOSEN_CLUB] = next(iter(clubs))
    return clubs.get(request.session.get(CHOSEN_CLUB, ""))


def _caller(club: Club, request: HttpRequest) -> selectors.Caller:
    """Return who the audit will name; asked in the transaction of the work."""
    membership = Membership.objects.filter(
        user=cast(User, request.user), role=Role.ADMIN, ended_at=None
    ).first()
    if membership is None:
        raise PermissionDenied
    return selectors.Caller(
        club=club,
        role=membership.role,
        # Who logs in with a password holds all rights of the role.
        scopes=frozenset(access.PERSON_SCOPES),
        token_id=None,
        source_id=None,
        membership_id=membership.id,
        user_id=membership.user_id,
    )
