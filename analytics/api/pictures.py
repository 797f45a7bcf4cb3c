"""What the views that answer with a picture have in common."""

from collections.abc import Callable, Hashable, Mapping
from enum import StrEnum
from hashlib import blake2b
from typing import Any, ClassVar, TypeVar
from zoneinfo import ZoneInfo

from django.conf import settings
from django.http import HttpResponse
from django.utils import translation
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view

from analytics.answers.remembered import Memory
from analytics.answers.told import Told
from analytics.api.asked import AnswerView, in_language_of
from analytics.charts.looks import Form, Look, Wanted, Width
from analytics.charts.sheet import Sheet, painted
from clubs.api.base import ClubView
from common.api.errors import InvalidParameterError
from common.api.renderers import PixelRenderer, VectorRenderer

Choice = TypeVar("Choice", bound=StrEnum)
View = TypeVar("View", bound=type[ClubView])

# One for each web process.
_pictures = Memory(most=settings.PICTURES_REMEMBERED)

_OF_PICTURES = [
    OpenApiParameter(
        "look",
        enum=[each.value for each in Look],
        default=Look.LIGHT.value,
        description="On a light or a dark screen, or black on white for print.",
    ),
    OpenApiParameter(
        "width",
        enum=[each.value for each in Width],
        default=Width.SMALL.value,
        description="`small` fits a phone held upright (360 pixels), `large` a page (760).",
    ),
    OpenApiParameter(
        "Accept-Language",
        str,
        OpenApiParameter.HEADER,
        description="Language of the words, `en` or `de`, with its decimal mark.",
    ),
]
_NAMES = frozenset({"look", "width"})


def pictured(view: View) -> View:
    """Tell the schema that a view answers with a picture, of what its numbers are asked with."""
    changed: View = extend_schema_view(
        get=extend_schema(
            # Those of the numbers stand there already.
            parameters=_OF_PICTURES,
            responses={
                (200, Form.SVG.value): OpenApiTypes.BINARY,
                (200, Form.PNG.value): OpenApiTypes.BINARY,
            },
        )
    )(view)
    return changed


def with_look(parameters: Mapping[str, frozenset[str]]) -> dict[str, frozenset[str]]:
    """Return the query parameters of a picture, from those of its numbers."""
    return {"GET": parameters.get("GET", frozenset()) | _NAMES}


class PictureView(ClubView):
    """A view that answers with a picture: SVG, or PNG where that is asked for."""

    forms = (VectorRenderer, PixelRenderer)

    def wanted(self) -> Wanted:
        """Return how the picture is wanted."""
        return Wanted(
            look=self._one_of(Look, "look"),
            width=self._one_of(Width, "width"),
            form=Form(self.request.accepted_renderer.media_type),
            zone=ZoneInfo(self.caller.club.time_zone),
        )

    def painted(self, key: Hashable, draw: Callable[[Sheet], None]) -> HttpResponse:
        """Answer with what `draw` draws, drawn once for the same `key`, look and language."""
        wanted = self.wanted()

        def make() -> HttpResponse:
            # What the picture follows from would take more room than the picture.
            names = repr((type(self).__name__, key, wanted, translation.get_language()))
            picture = _pictures.recall(
                blake2b(names.encode(), digest_size=16).digest(), lambda: painted(draw, wanted)
            )
            return HttpResponse(picture, content_type=wanted.form.value)

        return in_language_of(self.request, make)

    def _one_of(self, kind: type[Choice], name: str) -> Choice:
        choices = list(kind)
        given = self.request.query_params.get(name, choices[0].value)
        if given not in {each.value for each in choices}:
            raise InvalidParameterError(f"{name} is one of {', '.join(choices)}.")
        return kind(given)


class AnswerPicture(PictureView, AnswerView):
    """A view that answers a question about the latest attempts of one series with a picture."""

    draw: ClassVar[Callable[..., None]]

    def answered(self) -> HttpResponse:
        run_ups, found, key = self.find()
        said: Callable[[Any], Told] = type(self).tell
        return self.painted(key, lambda sheet: type(self).draw(sheet, run_ups, found, said(found)))
