from django.urls import path

from analytics.api import views

urlpatterns = [
    path(
        "approaches/<uuid:approach_id>/consistency",
        views.ConsistencyView.as_view(),
        name="consistency",
    ),
    path("approaches/<uuid:approach_id>/spread", views.SpreadView.as_view(), name="spread"),
    path("approaches/<uuid:approach_id>/trend", views.TrendView.as_view(), name="trend"),
    path("alerts/", views.AlertList.as_view(), name="alerts"),
    path("alerts/<uuid:alert_id>/", views.AlertDetail.as_view(), name="alert"),
]
