from django.urls import path

from athletes.api import consents, importing, measuring, views

_ATHLETE = "athletes/<uuid:athlete_id>/"

urlpatterns = [
    path("athletes/", views.AthleteList.as_view(), name="athletes"),
    path("athletes/import/", importing.AthleteImport.as_view(), name="athletes-import"),
    path(_ATHLETE, views.AthleteDetail.as_view(), name="athlete"),
    path(f"{_ATHLETE}measurements/", measuring.MeasurementList.as_view(), name="measurements"),
    path(
        f"{_ATHLETE}measurements/<uuid:measurement_id>/",
        measuring.MeasurementDetail.as_view(),
        name="measurement",
    ),
    path(f"{_ATHLETE}sprint-tests/", measuring.SprintTestList.as_view(), name="sprint-tests"),
    path(
        f"{_ATHLETE}sprint-tests/<uuid:sprint_test_id>/",
        measuring.SprintTestDetail.as_view(),
        name="sprint-test",
    ),
    path("consents/", consents.ConsentList.as_view(), name="consents"),
    path("consents/<uuid:consent_id>/", consents.ConsentDetail.as_view(), name="consent"),
]
