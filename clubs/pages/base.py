"""What every page for people has in common: the log-in, the club of the address, the rights.

The club stands in the address, not in the session: two tabs may show two clubs, and a page that was
opened for one club never changes over to another.
"""

from contextlib import AbstractContextManager
from datetime import date
from typing import Any, ClassVar

from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.views import View

from clubs import selectors
from clubs.models import Role, User
from clubs.selectors import Caller, today_at
from common.api.conditional import answer_unless_known, tag_answer
from common.club_scope import club_scope
from common.errors import DomainError

READING = frozenset({"GET", "HEAD"})
STAFF = frozenset({Role.ADMIN.value, Role.COACH.value})
PEOPLE = STAFF | {Role.ATHLETE.value}


class ClubPage(View):
    """A page of one club, shown inside the club's scope: a reading one sees one state of it.

    What is not the caller's does not exist: another club's page answers like a missing one.
    """

    http_method_names = ["get", "head", "post"]
    roles: ClassVar[frozenset[str]] = STAFF
    caller: Caller

    @property
    def today(self) -> date:
        """Return the day it is where the club is."""
        return today_at(self.caller.club)

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        response = self._answered(request, *args, **kwargs)
        # What holds people's names is kept by nobody on the way, and not by the browser either.
        add_never_cache_headers(response)
        return response

    def _answered(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        user = request.user
        if not isinstance(user, User):
            return redirect_to_login(request.get_full_path(), reverse("pages:log_in"))
        try:
            self.caller = caller = selectors.get_person(user, slug=kwargs["club"])
            if caller.role not in self.roles:
                return self.shown("clubs/pages/not_allowed.html", {}, status=403)
            with self._scope(request), timezone.override(caller.club.time_zone):
                return super().dispatch(request, *args, **kwargs)
        except Http404:
            return self._missing()
        except DomainError as refusal:
            if refusal.status != 404:
                raise
            return self._missing()

    def _missing(self) -> HttpResponse:
        return self.shown("clubs/pages/missing.html", {}, status=404)

    def _scope(self, request: HttpRequest) -> AbstractContextManager[None]:
        return club_scope(self.caller.club, read_only=request.method in READING)

    def shown(self, template: str, content: dict[str, Any], *, status: int = 200) -> HttpResponse:
        """Return a page; a reader who has just that gets 304, so that asking again costs little."""
        caller = getattr(self, "caller", None)
        response = render(self.request, template, {"caller": caller, **content}, status=status)
        if status == 200 and self.request.method in READING:
            get_token(self.request)  # in a cookie: in the page it would differ each time
            tag_answer(response, audience=str(self.caller.membership_id))
            return answer_unless_known(self.request, response)
        return response
