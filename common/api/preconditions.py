"""If-Match and Idempotency-Key: what a write starts from, and which write it is."""

import json
import re
from typing import Any

from rest_framework.request import Request

from common.api.errors import InvalidHeaderError, VersionRequiredError
from common.versions import ANY_VERSION, Expected

# An entity tag (RFC 9110, 8.8.3); a weak one never matches If-Match.
_ETAG = re.compile(r'\s*(W/)?"([\x21\x23-\x7e\x80-\xff]*)"\s*')
# What a tag of a row's answer begins with; the rest tells answers apart (common.api.conditional).
_VERSION = re.compile(r"(0|[1-9][0-9]{0,9})(?:-[0-9a-f]{24})?")
_KEY = re.compile(r"[\x21\x23-\x7e]{1,255}")


def etag_of(version: int) -> str:
    """Return what the ETag of an answer with a row of this version begins with."""
    return f'"{version}"'


def expected_version(request: Request) -> Expected:
    """Return the versions that If-Match names.

    Raises
    ------
    VersionRequiredError
        There is no If-Match.
    InvalidHeaderError
        It is neither a list of entity tags nor `*`.
    """
    given = request.headers.get("If-Match")
    if given is None:
        raise VersionRequiredError
    if given.strip() == "*":
        return ANY_VERSION
    versions = set()
    for part in given.split(","):
        tag = _ETAG.fullmatch(part)
        if tag is None:
            raise InvalidHeaderError("If-Match is an ETag as it was sent, in its quotes.")
        # A tag of another form, or a weak one, is none of a version: it matches nothing. 0 is that
        # of what has no version yet.
        version = None if tag[1] else _VERSION.fullmatch(tag[2])
        if version is not None:
            versions.add(int(version[1]))
    return Expected(frozenset(versions))


def find_idempotency_key(request: Request) -> str | None:
    """Return the Idempotency-Key without its quotes, or None without one.

    Raises
    ------
    InvalidHeaderError
        It is not 1 to 255 visible ASCII characters.
    """
    given = request.headers.get("Idempotency-Key")
    if given is None:
        return None
    key = given.strip()
    if len(key) >= 2 and key.startswith('"') and key.endswith('"'):
        key = key[1:-1]
    if not _KEY.fullmatch(key):
        raise InvalidHeaderError("Idempotency-Key is 1 to 255 visible ASCII characters.")
    return key


def content_of(request: Request) -> bytes:
    """Return body and parameters in one fixed form: the order of keys does not matter."""
    content: Any = [request.query_params.dict(), request.data]
    return json.dumps(content, sort_keys=True, default=str).encode()
