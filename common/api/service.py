"""The doors that are no club's: health, metrics, schema and its page."""

import os
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils.crypto import constant_time_compare
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, generate_latest
from prometheus_client.multiprocess import MultiProcessCollector
from rest_framework.permissions import AllowAny

from common import health, metrics
from common.api.problems import problem_response
from common.errors import NotFoundError


def healthz(request: HttpRequest) -> HttpResponse:
    """Say that the process lives."""
    return JsonResponse({"status": "alive"})


def readyz(request: HttpRequest) -> HttpResponse:
    """Say whether requests can be served, and what else is wrong.

    A broker in trouble is no reason to take a web process out of service: pushes still work.
    """
    stopper = health.find_stopper()
    if stopper is not None:
        return JsonResponse({"status": "not_ready", "complaints": [stopper]}, status=503)
    complaints = health.list_complaints()
    return JsonResponse({"status": "degraded" if complaints else "ready", "complaints": complaints})


def show_metrics(request: HttpRequest) -> HttpResponse:
    """Show what Prometheus collects, to those who hold the token where one is set."""
    expected = settings.METRICS_TOKEN
    given = request.headers.get("Authorization", "")
    if expected and not constant_time_compare(given, f"Bearer {expected}"):
        return problem_response(NotFoundError())
    registry = REGISTRY
    if "PROMETHEUS_MULTIPROC_DIR" in os.environ:
        registry = CollectorRegistry()
        MultiProcessCollector(registry)  # type: ignore[no-untyped-call]  # untyped library
    body = generate_latest(registry) + generate_latest(metrics.gauges)
    return HttpResponse(body, content_type=CONTENT_TYPE_LATEST)


def errors_page(request: HttpRequest) -> HttpResponse:
    """Show what each code means; the `type` of a problem leads here."""
    page = settings.BASE_DIR / "docs" / "api" / "errors.md"
    return HttpResponse(page.read_text(), content_type="text/plain; charset=utf-8")


class SchemaView(SpectacularAPIView):
    """The OpenAPI schema."""

    permission_classes = [AllowAny]
    authentication_classes: list[Any] = []


class DocsView(SpectacularSwaggerSplitView):
    """The schema as a page to read and try; everything it needs comes from this server."""

    permission_classes = [AllowAny]
    authentication_classes: list[Any] = []
    url_name = "schema"
