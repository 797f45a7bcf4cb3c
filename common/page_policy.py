"""What a page of ours may load (Content Security Policy Level 3)."""

from csp.middleware import CSPMiddleware
from django.http import HttpRequest
from django.http.response import HttpResponseBase

HEADER = "Content-Security-Policy"
# Whatever is no page has nothing to load, and belongs into no frame.
NOTHING = "default-src 'none'; frame-ancestors 'none'"


class PagePolicyMiddleware(CSPMiddleware):
    """Give pages the policy of the settings, and other content one that lets nothing be loaded.

    The policy of a page is put together for each answer, which costs more than it is worth where
    the answer is JSON.
    """

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        # Without content, as in 304, it would replace the policy of what the browser keeps.
        kind = response.get("Content-Type", "")
        if not kind or kind.startswith("text/html"):
            return super().process_response(request, response)
        response.headers.setdefault(HEADER, NOTHING)
        return response
