"""Every door of the service."""

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path
from django.views.generic import RedirectView

from common.api import service

urlpatterns: list[URLPattern | URLResolver] = [
    path(
        "api/v1/clubs/<slug:club>/",
        include(
            # Addresses are tried one after the other: figures and pushes are asked for most.
            [
                path("", include("analytics.api.urls")),
                path("", include("approaches.api.urls")),
                path("", include("athletes.api.urls")),
                path("", include("clubs.api.urls")),
            ]
        ),
    ),
    path("api/v1/schema/", service.SchemaView.as_view(), name="schema"),
    path("api/v1/docs/", service.DocsView.as_view(), name="docs"),
    path("api/v1/docs/errors/", service.errors_page, name="errors"),
    path("pages", RedirectView.as_view(pattern_name="pages:clubs")),
    path("pages/", include(("analytics.pages.urls", "pages"))),
    path("admin", RedirectView.as_view(pattern_name="admin:index")),
    path("admin/", admin.site.urls),
    path("healthz", service.healthz, name="healthz"),
    path("readyz", service.readyz, name="readyz"),
    path("metrics", service.show_metrics, name="metrics"),
]

handler400 = "common.api.problems.bad_request"
handler404 = "common.api.problems.page_not_found"
handler500 = "common.api.problems.server_error"
