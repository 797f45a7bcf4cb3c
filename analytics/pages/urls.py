from django.urls import include, path

from analytics.pages import board, home

urlpatterns = [
    path("", include("clubs.pages.urls")),
    path("clubs/<slug:club>/", home.Home.as_view(), name="club"),
    path(
        "clubs/<slug:club>/sessions/<uuid:session_id>/board/",
        board.Board.as_view(),
        name="board",
    ),
]
