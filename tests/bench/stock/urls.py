"""The doors of the peer."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from tests.bench.stock.views import AttemptViewSet, EmptyView, OneTransactionViewSet, TrendView

router = SimpleRouter()
router.register("attempts", AttemptViewSet)
router.register("one-transaction", OneTransactionViewSet, basename="one-transaction")
urlpatterns = [
    *router.urls,
    path("empty/", EmptyView.as_view()),
    path("approaches/<int:approach_id>/trend/", TrendView.as_view()),
]
