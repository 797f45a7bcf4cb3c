"""Model view sets that take one attempt or a list of them, and a view that does nothing."""

from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView
from rest_framework.viewsets import ModelViewSet

from tests.bench.stock.models import Attempt, Point
from tests.bench.stock.serializers import AttemptSerializer, PointSerializer


class AttemptViewSet(ModelViewSet[Attempt]):
    """As the guides leave it: rows are committed one by one."""

    queryset = Attempt.objects.prefetch_related("footfalls", "gates").order_by("id")
    serializer_class = AttemptSerializer

    def get_serializer(self, *args: Any, **kwargs: Any) -> BaseSerializer[Attempt]:
        kwargs.setdefault("many", isinstance(kwargs.get("data"), list))
        return super().get_serializer(*args, **kwargs)


class OneTransactionViewSet(AttemptViewSet):
    """The same with one commit for a batch instead of one for each row."""

    @transaction.atomic
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().create(request, *args, **kwargs)


class TrendView(ListAPIView[Point]):
    """The last figures of one run-up, by a model serializer."""

    serializer_class = PointSerializer

    def get_queryset(self) -> QuerySet[Point]:
        points = Point.objects.filter(attempt__approach_id=self.kwargs["approach_id"])
        return points.select_related("attempt").order_by("-attempt__started_at")[:100]


class EmptyView(APIView):
    """Find who asks, and answer nothing: what every request costs with the framework."""

    def get(self, request: Request) -> Response:
        return Response({})
