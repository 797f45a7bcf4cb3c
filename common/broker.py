"""Small questions to the broker, never on the path of a push."""

import time
from functools import lru_cache

import redis
from django.conf import settings

MOST_MESSAGES = 200
"""So many messages keep every worker busy until the next sweep, which looks at the rows themselves.
More are worth nothing, and yet each costs the worker that comes back to them two milliseconds."""

_SWEPT_KEY = "penult:swept_at"


@lru_cache(maxsize=1)
def _client() -> redis.Redis:
    return redis.Redis.from_url(
        settings.REDIS_URL, socket_timeout=0.3, socket_connect_timeout=0.3, retry=None
    )


def note_sweep() -> None:
    """Leave word that beat and a worker were alive just now."""
    _client().set(_SWEPT_KEY, time.time(), ex=3600)


def count_messages(queue: str) -> int:
    """Return how many messages lie in a queue that no worker has taken.

    Raises
    ------
    redis.RedisError
        The broker does not answer.
    """
    return int(_client().llen(queue))


def forget_old_messages(queue: str) -> None:
    """Throw all but the latest `MOST_MESSAGES` of a queue away.

    Raises
    ------
    redis.RedisError
        The broker does not answer.
    """
    # The library puts new messages on the left, and takes from the right.
    _client().ltrim(queue, 0, MOST_MESSAGES - 1)


def seconds_since_sweep() -> float | None:
    """Return how long ago a worker ran the sweep that beat asks for; None when it never did.

    Raises
    ------
    redis.RedisError
        The broker does not answer.
    """
    swept_at = _client().get(_SWEPT_KEY)
    return None if swept_at is None else max(0.0, time.time() - float(swept_at))
