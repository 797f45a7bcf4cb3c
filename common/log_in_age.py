"""How long a log-in of a browser lasts: it slides with use, and ends for good after some days.

Whoever is at work is not thrown out: a log-in that is as old as it may be ends in the next pause,
or a day later at the latest, since a board that lies open somewhere asks on by itself for ever.
"""

import time
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.base import SessionBase
from django.http import HttpRequest
from django.http.response import HttpResponseBase

LOGGED_IN_AT = "logged_in_at"
USED_AT = "used_at"
# Use is noted no more often than that: a board asks every ten seconds.
NOTED_EVERY_S = 5 * 60
PAUSE_S = 60 * 60
DAY_S = 24 * 60 * 60


class LogInAgeMiddleware:
    """End log-ins that are over, and keep those that are in use."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if settings.SESSION_COOKIE_NAME in request.COOKIES:
            _look_after(request.session, now_s=int(time.time()))
        return self._get_response(request)


def note_log_in(sender: Any, request: HttpRequest, **_: Any) -> None:
    """Begin to count: it is a receiver of Django's `user_logged_in`."""
    request.session[LOGGED_IN_AT] = request.session[USED_AT] = int(time.time())


def _look_after(session: SessionBase, *, now_s: int) -> None:
    if SESSION_KEY not in session:
        return
    # A log-in from before this was counted begins to count now.
    age_s = now_s - session.setdefault(LOGGED_IN_AT, now_s)
    idle_s = now_s - session.setdefault(USED_AT, now_s)
    longest_s = settings.LOG_IN_LONGEST_DAYS * DAY_S
    is_old = age_s > longest_s and (idle_s > PAUSE_S or age_s > longest_s + DAY_S)
    if is_old or idle_s > settings.SESSION_COOKIE_AGE:
        session.flush()
    elif idle_s > NOTED_EVERY_S:
        # Saved with its answer, for SESSION_COOKIE_AGE from now on, in the cookie as in the table.
        session[USED_AT] = now_s
