"""Sheets as pages: each is one file with everything it needs, to be kept, sent on and printed."""

from base64 import b64encode
from functools import cache
from hashlib import sha256

from django.template.loader import render_to_string

from analytics.cards.sheet import Sheet


def show(sheet: Sheet) -> str:
    """Return a sheet as HTML."""
    return render_to_string(f"analytics/cards/{sheet.template}.html", {"sheet": sheet})


@cache
def page_policy() -> str:
    """Return what such a page may load: its own style, known by its hash, and nothing else.

    A nonce would be another one each time, and so would the page and its ETag.
    """
    style = render_to_string("analytics/cards/sheet.css")
    digest = b64encode(sha256(style.encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    )
