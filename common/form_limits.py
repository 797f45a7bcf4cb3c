"""How large a form may be: the doors for log-ins are open to everybody.

Django bounds the fields of a form, but writes its files to the disk, however long they are.
"""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase

from common.api.problems import BodyTooLargeError, problem_response

FORMS = frozenset({"multipart/form-data", "application/x-www-form-urlencoded"})


class FormLimitMiddleware:
    """Refuse a form that says it is larger than one may be, before anything reads it.

    A form without a length is empty to Django, so nothing larger comes in under another name.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        most = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        if request.content_type in FORMS and _announced_bytes(request) > most:
            return problem_response(BodyTooLargeError(f"A form has at most {most} bytes."))
        return self._get_response(request)


def _announced_bytes(request: HttpRequest) -> int:
    announced = request.META.get("CONTENT_LENGTH") or "0"
    # int() itself fails on a text of thousands of digits.
    return int(announced[:18]) if announced.isascii() and announced.isdigit() else 0
