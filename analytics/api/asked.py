"""Answers that are worked out when they are asked for, from the attempts themselves."""

import re
from abc import ABC
from collections.abc import Callable, Hashable, Mapping
from typing import Any, ClassVar

from django.http import HttpResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers
from django.utils.translation import get_language
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request

from analytics import selectors
from analytics.answers.remembered import memory
from analytics.answers.told import Told
from analytics.api import answers
from analytics.api.figures import FINISH, asked_series
from analytics.selectors import RunUps
from analytics.services.figures import as_json
from analytics.services.heads import head_of
from clubs.api import permissions
from clubs.api.base import ClubView
from common.api.errors import InvalidParameterError

DEFAULT_LAST = 40
MOST_LAST = 100

LAST = OpenApiParameter(
    "last",
    {"type": "integer", "minimum": 1, "maximum": MOST_LAST},
    default=DEFAULT_LAST,
    description="From how many of the latest attempts, at most.",
)
LANGUAGE = OpenApiParameter(
    "Accept-Language",
    str,
    OpenApiParameter.HEADER,
    description="Language of the sentences, `en` or `de`, with its decimal mark; numbers are JSON.",
)
EVERY = [FINISH, LAST, LANGUAGE]
_WHOLE = re.compile(r"[0-9]{1,9}")
_NUMBER = re.compile(r"[0-9]{1,6}(\.[0-9]{1,18})?")


class AskedView(ClubView, ABC):
    """A view that answers in figures and in plain words."""

    rights = {"GET": permissions.READ_ANALYTICS}

    def worded(self, make: Callable[[], dict[str, Any]]) -> HttpResponse:
        """Answer with what `make` says in the language of the reader."""
        return in_language_of(self.request, lambda: answers.answer_with(make()))

    def whole_number(self, name: str, *, least: int, most: int, default: int) -> int:
        """Return a query parameter that is a whole number."""
        given = self.request.query_params.get(name, str(default))
        # int() itself fails on a text of thousands of digits, and the database on one of twenty.
        if not _WHOLE.fullmatch(given) or not least <= int(given) <= most:
            raise InvalidParameterError(f"{name} is {least} to {most}.")
        return int(given)

    def number(self, name: str, *, least: float, most: float) -> float | None:
        """Return a query parameter that is a number, or None where it is not given."""
        given = self.request.query_params.get(name)
        if given is None:
            return None
        if not _NUMBER.fullmatch(given) or not least <= float(given) <= most:
            raise InvalidParameterError(f"{name} is a number from {least:g} to {most:g}.")
        return float(given)


class AnswerView(AskedView):
    """A view that answers a question about the latest attempts of one series.

    What was found is remembered: asked again about the same attempts, nothing is computed. Which
    attempts they are is looked up each time, so an answer is never behind.
    """

    parameters = {"GET": frozenset({"finish", "last"})}
    # The two functions of the question's module in analytics.answers.
    work_out: ClassVar[Callable[..., Any]]
    tell: ClassVar[Callable[..., Told]]
    # How many of the latest attempts, where a reader does not say so.
    looks_at: ClassVar[int] = DEFAULT_LAST

    def choices(self) -> Mapping[str, Any]:
        """Return what else was asked, by the names under which `work_out` takes it."""
        return {}

    def answered(self) -> HttpResponse:
        """Answer from the attempts that are stored at this moment."""
        run_ups, found, key = self.find()

        def said() -> dict[str, Any]:
            content: dict[str, Any] = as_json(found) | as_json(type(self).tell(found))
            return content

        return self.worded(
            lambda: head_of(run_ups) | memory.recall(("said", get_language(), key), said)
        )

    def find(self) -> tuple[RunUps, Any, Hashable]:
        """Return the attempts, what was found in them, and a key that both follow from."""
        last = self.whole_number("last", least=1, most=MOST_LAST, default=self.looks_at)
        choices = self.choices()
        run_ups = selectors.read_run_ups_for(
            self.caller, asked_series(self), last=last, today=self.today
        )
        # A picture of an answer is made of the same figures.
        key = (type(self).work_out.__module__, run_ups.key, *choices.items())
        found = memory.recall(key, lambda: type(self).work_out(run_ups, **choices))
        return run_ups, found, key


def in_language_of(request: Request, make: Callable[[], HttpResponse]) -> HttpResponse:
    """Return what `make` answers in the language of the reader."""
    with translation.override(translation.get_language_from_request(request._request)):
        response = make()
    patch_vary_headers(response, ["Accept-Language"])
    return response
