"""What every view of a club has in common."""

from abc import ABC, abstractmethod
from collections.abc import Callable, Collection, Sequence
from contextlib import AbstractContextManager, ExitStack
from datetime import date
from typing import Any, ClassVar
from uuid import UUID

import msgspec
from django.db.models import Model, QuerySet
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import reverse
from rest_framework.authentication import BaseAuthentication
from rest_framework.generics import GenericAPIView
from rest_framework.permissions import SAFE_METHODS
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from clubs.api.authentication import PageAuthentication, TokenAuthentication
from clubs.api.permissions import Right
from clubs.errors import KeyRequiredError
from clubs.models import Club
from clubs.selectors import Caller, today_at
from clubs.services import answering
from common.api.conditional import answer_unless_known, mark_as_private, tag_answer
from common.api.errors import InvalidHeaderError, InvalidParameterError, UnknownParameterError
from common.api.filters import parameter_names
from common.api.limits import CallerLimit, Standing, headers_of
from common.api.preconditions import content_of, etag_of, find_idempotency_key
from common.api.renderers import JSONRenderer
from common.api.serializers import ChangesSerializer
from common.club_scope import club_scope

# Content-Type and its like are written anew; these belong to the answer.
_KEPT_HEADERS = frozenset({"Cache-Control", "ETag", "Location"})

_READING = frozenset({"GET", "HEAD"})

# What a change of a row may be answered, besides what every request may.
CHANGE_PROBLEMS = {
    "412": "Somebody changed the row since its ETag was read.",
    "428": "There is no If-Match.",
}


class ClubView(GenericAPIView[Any]):
    """A view of one club. A reading request sees one state of it, from first query to last byte.

    Writing views call a service, which opens its own scope.
    """

    rights: ClassVar[dict[str, Right]] = {}
    # Query parameters besides those of the filters and of paging.
    parameters: ClassVar[dict[str, frozenset[str]]] = {}
    operation_names: ClassVar[dict[str, str]] = {}
    # In which forms it is read, the first unless another is asked for; all else is JSON.
    forms: ClassVar[Sequence[type[BaseRenderer]]] = (JSONRenderer,)
    throttle_classes = (CallerLimit,)
    standing: Standing | None = None  # how the caller stands with the limit, once it was counted

    @property
    def caller(self) -> Caller:
        caller = self.request.user
        assert isinstance(caller, Caller)  # noqa: S101  # the permission class saw to it
        return caller

    @property
    def today(self) -> date:
        """Return the day it is where the club is."""
        return today_at(self.caller.club)

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        with ExitStack() as self._reading:
            return super().dispatch(request, *args, **kwargs)

    def finalize_response(
        self, request: Request, response: Response, *args: Any, **kwargs: Any
    ) -> Response:
        final = super().finalize_response(request, response, *args, **kwargs)
        if self.standing is not None:
            for name, value in headers_of(self.standing).items():
                final[name] = value
        tagged: Response = self._tagged(request._request, final)
        return tagged

    def _tagged(self, request: HttpRequest, response: Any) -> Any:
        """Give an answer its tag, and send 304 in its place to who has it already.

        So it is with every answer that is read, and with the row that a write answers with.
        """
        reads = request.method in _READING
        if reads:
            mark_as_private(response)
        if response.streaming or not (
            (reads and response.status_code == 200) or response.has_header("ETag")
        ):
            return response
        if not getattr(response, "is_rendered", True):
            response.render()
        tag_answer(response, audience=self.caller.role)
        return answer_unless_known(request, response) if reads else response

    def get_renderers(self) -> list[BaseRenderer]:
        reads = self.request.method in _READING
        return [form() for form in (self.forms if reads else (JSONRenderer,))]

    def get_authenticators(self) -> list[BaseAuthentication]:
        if getattr(self, "swagger_fake_view", False):
            return [TokenAuthentication()]  # what our own pages do is no part of the contract
        reading = self._reading if self.request.method in SAFE_METHODS else None
        return [TokenAuthentication(reading), PageAuthentication(self.kwargs["club"])]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        self._refuse_unknown_parameters(request)
        if request.method in SAFE_METHODS:
            # As a rule this is the scope in which the token was found, which it joins.
            self._reading.enter_context(self.scope())
        elif "If-None-Match" in request.headers:
            raise InvalidHeaderError("If-None-Match is for reading; a change takes If-Match.")

    def scope(self) -> AbstractContextManager[None]:
        """Return a reading scope of the caller's club."""
        return club_scope(self.caller.club, read_only=True)

    def leave_scope(self) -> None:
        """End the scope of a reading request before its end: whoever waits holds none."""
        self._reading.close()

    def options(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Response:
        """Answer with nothing but the methods that the address takes (RFC 9110, 9.3.7)."""
        return Response(status=204, headers={"Allow": ", ".join(self.allowed_methods)})

    def changes(self, serializer_class: type[ChangesSerializer]) -> dict[str, Any]:
        """Return the fields that the body changes."""
        body = serializer_class(data=self.request.data)
        body.is_valid(raise_exception=True)
        return dict(body.validated_data)

    def kept(self, row: Any, *, status: int = 200) -> Response:
        """Answer with a row, its version in the ETag; If-Match takes it back."""
        response = Response(self.get_serializer(row).data, status=status)
        response["ETag"] = etag_of(row.version)
        return response

    def created(self, row: Any, *, route: str, **ids: UUID) -> Response:
        """Answer with a row just made, and where it can be read."""
        response = self.kept(row, status=201)
        response["Location"] = reverse(route, kwargs={"club": self.caller.club.slug, **ids})
        return response

    def once(
        self,
        work: Callable[[], Response],
        *,
        check: Callable[[], object] | None,
        required: bool = False,
        secret_fields: Collection[str] = (),
    ) -> Response:
        """Do a write that has no natural key, or answer again what was answered under its key.

        `check` refuses a caller who may not see the athlete whom the answer is about: it holds from
        the next request on when a charge ends, also for answers that are kept. None where the
        answer is about no athlete.

        Raises
        ------
        KeyRequiredError
            The write requires an Idempotency-Key, and there is none.
        """
        key = find_idempotency_key(self.request)
        if key is None:
            if required:
                raise KeyRequiredError
            return work()
        asked = answering.Asked(
            caller=self.caller,
            method=str(self.request.method),
            path=self.request.path,
            key=key,
            content=content_of(self.request),
        )
        answer = answering.answer_once(
            asked,
            lambda: _answer_of(work()),
            check=check,
            secret_fields=frozenset(secret_fields),
        )
        response = Response(answer.body, status=answer.status, headers=dict(answer.headers))
        if answer.repeated:
            response["Answer-Repeated"] = "true"
        return response

    def flag(self, name: str) -> bool:
        """Return whether a query parameter says true; without it, false.

        Raises
        ------
        InvalidParameterError
            It says something else.
        """
        given = self.request.query_params.get(name, "false")
        if given not in {"true", "false"}:
            raise InvalidParameterError(f"{name} is true or false.")
        return given == "true"

    def _refuse_unknown_parameters(self, request: Request) -> None:
        method = "GET" if request.method == "HEAD" else str(request.method)
        known = self.parameters.get(method, frozenset())
        if method == "GET" and isinstance(self, ClubList):
            known |= parameter_names(self) | {"cursor", "page_size"}
        unknown = sorted(set(request.query_params) - known)
        if unknown:
            raise UnknownParameterError(
                f"Unknown: {', '.join(unknown)[:200]}. Known: {', '.join(sorted(known)) or 'none'}."
            )
        for name, values in request.query_params.lists():
            # Neither may silently widen what is asked for.
            if values == [""] or len(values) > 1:
                raise InvalidParameterError(f"{name} is given once, and not empty.")


def _answer_of(response: Response) -> answering.Answer:
    """Return what of a response is kept and sent again."""
    body = msgspec.json.decode(JSONRenderer().render(response.data))
    return answering.Answer(
        status=response.status_code,
        body=body,
        headers={name: value for name, value in response.items() if name in _KEPT_HEADERS},
    )


class ClubList(ClubView, ABC):
    """A view that lists rows of one club."""

    @abstractmethod
    def rows(self) -> QuerySet[Any]:
        """Return the rows that the caller may see, before filters."""

    def get_queryset(self) -> QuerySet[Any]:
        if getattr(self, "swagger_fake_view", False):
            # The schema is made without a caller; filters want to know their model.
            filtered = getattr(self, "filterset_class", None)
            model: type[Model] = Club if filtered is None else filtered._meta.model
            return model._default_manager.none()
        return self.rows()

    def listed(self) -> Response:
        """Return the page that was asked for."""
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response(self.get_serializer(page, many=True).data)
