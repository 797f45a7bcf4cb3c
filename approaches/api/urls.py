from django.urls import path

from approaches.api import corrections, gate_runs, views

urlpatterns = [
    path("approaches/", views.ApproachList.as_view(), name="approaches"),
    path("approaches/<uuid:approach_id>/", views.ApproachDetail.as_view(), name="approach"),
    path("approaches/<uuid:approach_id>/plans/", views.PlanList.as_view(), name="plans"),
    path(
        "approaches/<uuid:approach_id>/plans/current/",
        views.CurrentPlan.as_view(),
        name="current-plan",
    ),
    path(
        "approaches/<uuid:approach_id>/plans/<uuid:plan_id>/",
        views.PlanDetail.as_view(),
        name="plan",
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
    path("gate-runs/", gate_runs.GateRunList.as_view(), name="gate-runs"),
    path("gate-runs/batch/", gate_runs.GateRunBatch.as_view(), name="gate-run-batch"),
    path("gate-runs/<uuid:gate_run_id>/", gate_runs.GateRunDetail.as_view(), name="gate-run"),
    path(
        "gate-runs/<uuid:gate_run_id>/match/",
        gate_runs.GateRunMatch.as_view(),
        name="gate-run-match",
    ),
    path(
        "gate-runs/<uuid:gate_run_id>/unmatch/",
        gate_runs.GateRunUnmatch.as_view(),
        name="gate-run-unmatch",
    ),
    path("quarantine/", views.QuarantineList.as_view(), name="quarantine"),
    path("quarantine/<uuid:row_id>/", views.QuarantineDetail.as_view(), name="quarantined-row"),
    path(
        "quarantine/<uuid:row_id>/replay/",
        views.QuarantineReplay.as_view(),
        name="quarantine-replay",
    ),
]
