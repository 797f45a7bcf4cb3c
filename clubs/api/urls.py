from django.urls import path

from clubs.api import views

urlpatterns = [
    path("", views.ClubDetail.as_view(), name="club"),
    path("squads/", views.SquadList.as_view(), name="squads"),
    path("squads/<uuid:squad_id>/", views.SquadDetail.as_view(), name="squad"),
    path("runways/", views.RunwayList.as_view(), name="runways"),
    path("sources/", views.SourceList.as_view(), name="sources"),
    path("sources/<uuid:source_id>/tokens/", views.SourceTokenList.as_view(), name="source-tokens"),
    path("tokens/", views.OwnTokenList.as_view(), name="own-tokens"),
]
