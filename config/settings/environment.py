"""Read settings from the environment, and say plainly what is missing."""

import os
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit

from django.core.exceptions import ImproperlyConfigured


def required(name: str) -> str:
    """Return the variable, or refuse to start without it."""
    value = os.environ.get(name, "")
    if not value:
        raise ImproperlyConfigured(
            f"{name} is not set. script/demo sets it for the local stack; "
            "docs/operations/production.md says what it holds elsewhere."
        )
    return value


def text(name: str, default: str) -> str:
    return os.environ.get(name, default)


def flag(name: str, *, default: bool) -> bool:
    value = os.environ.get(name, "1" if default else "0")
    if value not in {"0", "1"}:
        raise ImproperlyConfigured(f"{name} is 0 or 1, not {value!r}.")
    return value == "1"


def seconds(name: str, *, default: float) -> float:
    value = os.environ.get(name, str(default))
    try:
        length_s = float(value)
    except ValueError:
        length_s = 0.0
    if not 0 < length_s < float("inf"):
        raise ImproperlyConfigured(f"{name} is a number of seconds above 0, not {value!r}.")
    return length_s


def count(name: str, *, default: int) -> int:
    value = os.environ.get(name, str(default))
    is_number = value.isascii() and value.isdigit() and len(value) <= 4
    if not is_number or not 1 <= int(value) <= 1000:
        raise ImproperlyConfigured(f"{name} is a whole number from 1 to 1000, not {value!r}.")
    return int(value)


def database_from_url(url: str) -> dict[str, Any]:
    """Return Django's settings for a postgresql:// address.

    A socket folder travels as the query parameter `host`, percent-encoded.
    """
    parts = urlsplit(url)
    if parts.scheme not in {"postgresql", "postgres"}:
        raise ImproperlyConfigured("DATABASE_URL must start with postgresql://")
    query = dict(parse_qsl(parts.query))
    return {
        "ENGINE": "common.database",
        "NAME": unquote(parts.path.lstrip("/")),
        "USER": unquote(parts.username or ""),
        "PASSWORD": unquote(parts.password or ""),
        "HOST": query.pop("host", parts.hostname or ""),
        "PORT": query.pop("port", str(parts.port or "")),
        "CONN_MAX_AGE": 600,
        "CONN_HEALTH_CHECKS": True,
        "ATOMIC_REQUESTS": False,
        "OPTIONS": {
            "connect_timeout": 5,
            # A pooler that hands a connection on after each transaction may not know them.
            "prepare_threshold": 5 if flag("PREPARED_STATEMENTS", default=True) else None,
            **query,
        },
    }
