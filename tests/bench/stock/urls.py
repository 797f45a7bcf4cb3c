"""The one door of the peer."""

from rest_framework.routers import SimpleRouter

from tests.bench.stock.views import AttemptViewSet

router = SimpleRouter()
router.register("attempts", AttemptViewSet)
urlpatterns = router.urls
