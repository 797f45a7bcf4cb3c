"""The doors of the peer."""

from rest_framework.routers import SimpleRouter

from tests.bench.stock.views import AttemptViewSet, OneTransactionViewSet

router = SimpleRouter()
router.register("attempts", AttemptViewSet)
router.register("one-transaction", OneTransactionViewSet, basename="one-transaction")
urlpatterns = router.urls
