"""Every door of the service."""

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path(
        "api/v1/clubs/<slug:club>/",
        include(
            [
                path("", include("clubs.api.urls")),
                path("", include("athletes.api.urls")),
                path("", include("approaches.api.urls")),
            ]
        ),
    ),
    path("admin/", admin.site.urls),
]

handler400 = "common.api.problems.bad_request"
handler404 = "common.api.problems.page_not_found"
handler500 = "common.api.problems.server_error"
