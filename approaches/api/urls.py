from django.urls import path

from approaches.api import corrections, views

urlpatterns = [
    path("approaches/", views.ApproachList.as_view(), name="approaches"),
    path("approaches/<uuid:approach_id>/", views.ApproachDetail.as_view(), name="approach"),
    path("approaches/<uuid:approach_id>/plans/", views.PlanList.as_view(), name="plans"),
    path(
        "approaches/<uuid:approach_id>/plans/current/",
        views.CurrentPlan.as_view(),
        name="current-plan",
    ),
    path("sessions/", views.SessionList.as_view(), name="sessions"),
    path("sessions/<uuid:session_id>/", views.SessionDetail.as_view(), name="session"),
    path(
        "sessions/<uuid:session_id>/attempts/",
        views.SessionAttemptList.as_view(),
        name="session-attempts",
    ),
    path("attempts/", views.AttemptList.as_view(), name="attempts"),
    path("attempts/batch/", views.AttemptBatch.as_view(), name="attempt-batch"),
    path("attempts/<uuid:attempt_id>/", views.AttemptDetail.as_view(), name="attempt"),
    path(
        "attempts/<uuid:attempt_id>/corrections/",
        corrections.CorrectionList.as_view(),
        name="attempt-corrections",
    ),
    path(
        "attempts/<uuid:attempt_id>/void/", corrections.AttemptVoid.as_view(), name="attempt-void"
    ),
    path("quarantine/", views.QuarantineList.as_view(), name="quarantine"),
    path("quarantine/<uuid:row_id>/", views.QuarantineDetail.as_view(), name="quarantined-row"),
    path(
        "quarantine/<uuid:row_id>/replay/",
        views.QuarantineReplay.as_view(),
        name="quarantine-replay",
    ),
]
