from django.urls import path

from analytics.api import (
    advice,
    charts,
    conditions,
    deciding,
    figures,
    lengths,
    overviews,
    papers,
    reports,
    run_up,
    views,
    warming_up,
    work,
)

urlpatterns = [
    path(
        "approaches/<uuid:approach_id>/consistency",
        figures.ConsistencyView.as_view(),
        name="consistency",
    ),
    path("approaches/<uuid:approach_id>/spread", figures.SpreadView.as_view(), name="spread"),
    path("approaches/<uuid:approach_id>/trend", figures.TrendView.as_view(), name="trend"),
    path(
        "approaches/<uuid:approach_id>/run-up-trend",
        figures.RunUpTrendView.as_view(),
        name="run-up-trend",
    ),
    path("approaches/<uuid:approach_id>/steering", run_up.SteeringView.as_view(), name="steering"),
    path(
        "approaches/<uuid:approach_id>/error-shares",
        run_up.ErrorSharesView.as_view(),
        name="error-shares",
    ),
    path("approaches/<uuid:approach_id>/rhythm", run_up.RhythmView.as_view(), name="rhythm"),
    path("approaches/<uuid:approach_id>/outlook", deciding.OutlookView.as_view(), name="outlook"),
    path("approaches/<uuid:approach_id>/aim", deciding.AimView.as_view(), name="aim"),
    path(
        "approaches/<uuid:approach_id>/mark-advice",
        deciding.MarkAdviceView.as_view(),
        name="mark-advice",
    ),
    path(
        "approaches/<uuid:approach_id>/practice-focus",
        deciding.PracticeFocusView.as_view(),
        name="practice-focus",
    ),
    path("approaches/<uuid:approach_id>/speed", conditions.SpeedView.as_view(), name="speed"),
    path(
        "approaches/<uuid:approach_id>/wind-table",
        conditions.WindTableView.as_view(),
        name="wind-table",
    ),
    path(
        "approaches/<uuid:approach_id>/length-advice",
        lengths.LengthAdviceView.as_view(),
        name="length-advice",
    ),
    path(
        "approaches/<uuid:approach_id>/length-study",
        lengths.LengthStudyView.as_view(),
        name="length-study",
    ),
    path(
        "sessions/<uuid:session_id>/warm-up",
        warming_up.WarmUpView.as_view(),
        name="warm-up",
    ),
    path(
        "sessions/<uuid:session_id>/next-attempt",
        deciding.NextAttemptView.as_view(),
        name="next-attempt",
    ),
    path("approaches/<uuid:approach_id>/advice/", advice.AdviceList.as_view(), name="advice"),
    path(
        "approaches/<uuid:approach_id>/advice/summary",
        advice.AdviceSummary.as_view(),
        name="advice_summary",
    ),
    path(
        "approaches/<uuid:approach_id>/advice/<uuid:advice_id>/",
        advice.AdviceDetail.as_view(),
        name="advice_detail",
    ),
    path(
        "reports/season/athletes/<uuid:athlete_id>",
        reports.AthleteSeasonView.as_view(),
        name="athlete-season",
    ),
    path("overview", overviews.OverviewView.as_view(), name="overview"),
    path("approaches/<uuid:approach_id>/card", papers.CardView.as_view(), name="card"),
    path("approaches/<uuid:approach_id>/what-if", work.WhatIfView.as_view(), name="what-if"),
    path("work/<uuid:work_id>/", work.WorkDetail.as_view(), name="work_detail"),
    path("alerts/", views.AlertList.as_view(), name="alerts"),
    path("alerts/<uuid:alert_id>/", views.AlertDetail.as_view(), name="alert"),
    path("alert-rules/", views.AlertRuleList.as_view(), name="alert_rules"),
    path("alert-rules/<str:kind>/", views.AlertRuleDetail.as_view(), name="alert_rule"),
    # Each picture beside its numbers.
    path("approaches/<uuid:approach_id>/trend/chart", charts.TrendChart.as_view()),
    path("approaches/<uuid:approach_id>/steering/chart", charts.SteeringChart.as_view()),
]
