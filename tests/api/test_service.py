"""Health, metrics and the page of the API."""

import socket
from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.conf import LazySettings
from django.test import Client
from django.utils import timezone

from approaches.models import PendingRefresh
from common import broker
from common.club_scope import club_scope
from tests.approaches.conftest import Scene, make_scene
from tests.approaches.test_pushing import push
from tests.factories import make_reading


@pytest.fixture
def closed_port() -> Iterator[int]:
    """Return a port that is taken, and at which nobody listens."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        yield taken.getsockname()[1]


@pytest.fixture
def client() -> Client:
    return Client()


@pytest.mark.django_db
class TestHealth:
    def test_is_alive_without_asking_anybody(self, client: Client):
        assert client.get("/healthz").json() == {"status": "alive"}

    def test_a_late_series_makes_it_degraded_but_not_down(self, client: Client):
        scene = make_scene()
        push(scene, make_reading(scene.athlete, scene.session))
        with club_scope(scene.club):
            PendingRefresh.objects.update(
                waiting_since=timezone.now() - timedelta(seconds=90),
                next_try_at=timezone.now() - timedelta(seconds=90),
            )

        answer = client.get("/readyz")

        assert answer.status_code == 200
        assert answer.json()["status"] == "degraded"
        assert any(line.startswith("1 series wait") for line in answer.json()["complaints"])

    def test_a_broker_that_is_gone_makes_it_degraded_but_not_down(
        self, client: Client, settings: LazySettings, closed_port: int
    ):
        settings.REDIS_URL = f"redis://127.0.0.1:{closed_port}/0"
        broker._client.cache_clear()
        try:
            answer = client.get("/readyz")
        finally:
            broker._client.cache_clear()

        assert answer.status_code == 200
        assert answer.json()["status"] == "degraded"
        assert answer.json()["complaints"][0].startswith("The broker does not answer")


@pytest.mark.django_db
class TestMetrics:
    def test_count_rows_and_what_waits(self, client: Client):
        scene: Scene = make_scene()
        push(scene, make_reading(scene.athlete, scene.session))

        text = client.get("/metrics").content.decode()

        assert "penult_refresh_backlog 1.0" in text
        assert 'penult_rows_received_total{outcome="created"}' in text

    def test_are_for_the_holder_of_the_token_where_one_is_set(
        self, client: Client, settings: LazySettings
    ):
        settings.METRICS_TOKEN = "sesame"

        assert client.get("/metrics").status_code == 404
        opened = client.get("/metrics", headers={"Authorization": "Bearer sesame"})
        assert opened.status_code == 200


@pytest.mark.django_db
class TestPages:
    def test_the_docs_page_asks_nobody_else(self, client: Client):
        page = client.get("/api/v1/docs/")

        assert page.status_code == 200
        assert "http" not in page.content.decode().partition("<body")[0].replace("http-equiv", "")
        assert "'self'" in page["Content-Security-Policy"]

    def test_what_is_no_page_may_load_nothing(self, client: Client):
        """As OWASP's cheat sheet on REST security asks of every answer of an API."""
        answer = client.get("/api/v1/clubs/nobody/squads/")

        assert answer["Content-Security-Policy"] == "default-src 'none'; frame-ancestors 'none'"

    def test_a_code_can_be_looked_up(self, client: Client):
        assert "`conflict`" in client.get("/api/v1/docs/errors/").content.decode()

    def test_nothing_elsewhere_has_the_one_shape(self, client: Client):
        answer = client.get("/api/v1/nothing/")

        assert answer.status_code == 404
        assert answer["Content-Type"] == "application/problem+json"
        assert answer.json()["request_id"] == answer["X-Request-ID"]


class TestStaticFiles:
    def test_are_served_from_a_list_made_at_the_start(self, settings: LazySettings):
        settings.WHITENOISE_AUTOREFRESH = False  # as everywhere but in tests

        answer = Client().get("/static/clubs/phone.css")

        assert answer.status_code == 200
        assert answer["Cache-Control"] == "max-age=60, public"
        assert b"{" in answer.getvalue()
