"""Answers that a client may have already: a tag for each, and 304 in place of the same again.

There is one kind of tag. It is made of what is sent, of its media type and of who it was written
for, so it changes when and only when one of them does. Where the answer is of a row with a version,
the tag begins with the version, which is all that If-Match looks at (common.api.preconditions).
"""

from hashlib import blake2b

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.http.response import HttpResponseBase
from django.utils.cache import patch_vary_headers
from django.utils.http import parse_etags

# What a 304 leaves out: it tells of content that is not sent (RFC 9110, 15.4.5), and the links of
# a page are among what the client has already.
_OF_CONTENT = frozenset({"content-type", "content-length", "content-encoding", "link"})


def tag_answer(response: HttpResponse, *, audience: str) -> None:
    """Give a rendered answer its tag; one that names the version of a row already begins with it.

    The tag is a strong one (RFC 9110, 8.8.1). `audience` is who the answer was written for: a tag
    that one role got is worth nothing to another, whatever the bytes.
    """
    digest = blake2b(f"{response['Content-Type']}|{audience}|".encode(), digest_size=12)
    digest.update(response.content)
    version = response.get("ETag", "").strip('"')
    response["ETag"] = f'"{version}-{digest.hexdigest()}"' if version else f'"{digest.hexdigest()}"'


def answer_unless_known(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Return a tagged answer, or 304 when the asker has just that."""
    if not _is_known(response["ETag"], request.headers.get("If-None-Match", "")):
        return response
    same = HttpResponseNotModified()
    for name, value in response.items():
        if name.lower() not in _OF_CONTENT:
            same[name] = value
    # Left out, it would be written as 0 further out, and must be that of a 200 (RFC 9110, 8.6).
    same["Content-Length"] = str(len(response.content))
    return same


def mark_as_private(response: HttpResponseBase) -> None:
    """Say that only the asker may keep the answer, and must ask again before it is used."""
    response.headers.setdefault("Cache-Control", "private, no-cache")
    patch_vary_headers(response, ["Accept", "Authorization"])


def _is_known(etag: str, condition: str) -> bool:
    """Answer whether an If-None-Match field names the tag (RFC 9110, 13.1.2: weak comparison)."""
    named = parse_etags(condition)
    return named == ["*"] or any(each.removeprefix("W/") == etag for each in named)
