from django.urls import path

from athletes.api import coaching, consents, importing, measuring, members, views

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
    path("members/", members.MemberList.as_view(), name="members"),
    path("members/<uuid:member_id>/", members.MemberDetail.as_view(), name="member"),
    path(
        "squads/<uuid:squad_id>/members/", coaching.SquadMemberList.as_view(), name="squad-members"
    ),
    path(
        "squads/<uuid:squad_id>/members/<uuid:squad_member_id>/",
        coaching.SquadMemberDetail.as_view(),
        name="squad-member",
    ),
    path("coach-assignments/", coaching.CoachAssignmentList.as_view(), name="coach-assignments"),
    path(
        "coach-assignments/<uuid:assignment_id>/",
        coaching.CoachAssignmentDetail.as_view(),
        name="coach-assignment",
    ),
]
