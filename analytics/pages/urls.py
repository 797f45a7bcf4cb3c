from django.urls import include, path

from analytics.pages import athletes, board, team

urlpatterns = [
    path("", include("clubs.pages.urls")),
    path("clubs/<slug:club>/", team.Home.as_view(), name="club"),
    path("clubs/<slug:club>/athletes/", team.Team.as_view(), name="athletes"),
    path(
        "clubs/<slug:club>/athletes/<uuid:athlete_id>/",
        athletes.AthletePage.as_view(),
        name="athlete",
    ),
    path("clubs/<slug:club>/squads/<uuid:squad_id>/", team.Team.as_view(), name="squad"),
    path("clubs/<slug:club>/alerts/<uuid:alert_id>/", athletes.AlertDoor.as_view(), name="alert"),
    path(
        "clubs/<slug:club>/sessions/<uuid:session_id>/board/",
        board.Board.as_view(),
        name="board",
    ),
]
