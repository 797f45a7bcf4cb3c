"""What every view of a club has in common."""

from abc import ABC, abstractmethod
from contextlib import ExitStack
from datetime import date
from typing import Any, ClassVar

from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponseBase
from rest_framework.generics import GenericAPIView
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request
from rest_framework.response import Response

from clubs.api.permissions import Right
from clubs.models import Club
from clubs.selectors import Caller, today_at
from common.api.errors import InvalidParameterError, UnknownParameterError
from common.api.filters import parameter_names
from common.club_scope import club_scope


class ClubView(GenericAPIView[Any]):
    """A view of one club. A reading request sees one state of it, from first query to last byte.

    Writing views call a service, which opens its own scope.
    """

    rights: ClassVar[dict[str, Right]] = {}
    # Query parameters besides those of the filters and of paging.
    parameters: ClassVar[dict[str, frozenset[str]]] = {}
    operation_names: ClassVar[dict[str, str]] = {}
    metadata_class = None

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

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        self._refuse_unknown_parameters(request)
        if request.method in SAFE_METHODS:
            self._reading.enter_context(club_scope(self.caller.club, read_only=True))

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
