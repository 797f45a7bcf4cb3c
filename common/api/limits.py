"""How often one caller may ask, counted in this process: no push waits for another server.

Each web process counts for itself, so that a service of several processes lets through that many
times the quota. The limit is there to stop a script that runs wild, not to sell requests.
"""

import math
import threading
import time
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

WINDOW_S = 60
# Windows older than this many are dropped together, so that the table stays small.
_SWEEP_EVERY_S = 2 * WINDOW_S


@dataclass(frozen=True, slots=True)
class Standing:
    """What is left of a quota."""

    quota: int
    remaining: int
    resets_in_s: int
    exceeded: bool


class WindowCounter:
    """Count what each key did in its present window of a minute."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._windows: dict[Any, tuple[float, int]] = {}
        self._swept_at = 0.0

    def count(self, key: Any, *, quota: int) -> Standing:
        """Count one more, unless the quota is used up, and return how the key stands."""
        now = time.monotonic()
        with self._lock:
            self._sweep(now)
            since, done = self._window(key, now)
            exceeded = done >= quota
            done += not exceeded
            self._windows[key] = (since, done)
        return _standing(since, done, now, quota=quota, exceeded=exceeded)

    def is_quiet(self) -> bool:
        """Answer whether no key did anything of late."""
        with self._lock:
            self._sweep(time.monotonic())
            return not self._windows

    def standing(self, key: Any, *, quota: int) -> Standing:
        """Return how the key stands: whether one more would be too many."""
        now = time.monotonic()
        with self._lock:
            since, done = self._window(key, now)
        return _standing(since, done, now, quota=quota, exceeded=done >= quota)

    def _window(self, key: Any, now: float) -> tuple[float, int]:
        since, done = self._windows.get(key, (now, 0))
        return (now, 0) if now - since >= WINDOW_S else (since, done)

    def _sweep(self, now: float) -> None:
        if now - self._swept_at >= _SWEEP_EVERY_S:
            self._windows = {
                key: window for key, window in self._windows.items() if now - window[0] < WINDOW_S
            }
            self._swept_at = now


def _standing(since: float, done: int, now: float, *, quota: int, exceeded: bool) -> Standing:
    return Standing(
        quota=quota,
        remaining=max(0, quota - done),
        resets_in_s=max(1, math.ceil(since + WINDOW_S - now)),
        exceeded=exceeded,
    )


requests = WindowCounter()
wrong_tokens = WindowCounter()


class CallerLimit(BaseThrottle):
    """So many requests a minute for each token."""

    def allow_request(self, request: Request, view: Any) -> bool:
        self._standing = requests.count(view.caller.actor_id, quota=settings.REQUESTS_PER_MINUTE)
        view.standing = self._standing
        return not self._standing.exceeded

    def wait(self) -> float:
        return self._standing.resets_in_s


def headers_of(standing: Standing) -> dict[str, str]:
    """Return the headers that tell a client how it stands (IETF draft, RateLimit header fields)."""
    return {
        "RateLimit-Policy": f'"requests";q={standing.quota};w={WINDOW_S}',
        "RateLimit": f'"requests";r={standing.remaining};t={standing.resets_in_s}',
    }
