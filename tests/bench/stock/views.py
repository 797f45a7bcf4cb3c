"""A model view set that takes one attempt or a list of them."""

from typing import Any

from django.db import transaction
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.viewsets import ModelViewSet

from tests.bench.stock.models import Attempt
from tests.bench.stock.serializers import AttemptSerializer


class AttemptViewSet(ModelViewSet[Attempt]):
    queryset = Attempt.objects.prefetch_related("footfalls", "gates").order_by("id")
    serializer_class = AttemptSerializer

    def get_serializer(self, *args: Any, **kwargs: Any) -> BaseSerializer[Attempt]:
        kwargs.setdefault("many", isinstance(kwargs.get("data"), list))
        return super().get_serializer(*args, **kwargs)

    @transaction.atomic
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Store all in one transaction; a commit for each row would only slow the peer down."""
        return super().create(request, *args, **kwargs)
