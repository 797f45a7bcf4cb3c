from django.urls import path

from clubs.api import access, audit, places, views

urlpatterns = [
    path("", views.ClubDetail.as_view(), name="club"),
    path("squads/", views.SquadList.as_view(), name="squads"),
    path("squads/<uuid:squad_id>/", views.SquadDetail.as_view(), name="squad"),
    path("runways/", places.RunwayList.as_view(), name="runways"),
    path("runways/<uuid:runway_id>/", places.RunwayDetail.as_view(), name="runway"),
    path("sources/", access.SourceList.as_view(), name="sources"),
    path("sources/<uuid:source_id>/", access.SourceDetail.as_view(), name="source"),
    path(
        "sources/<uuid:source_id>/tokens/", access.SourceTokenList.as_view(), name="source-tokens"
    ),
    path(
        "sources/<uuid:source_id>/tokens/<uuid:token_id>/",
        access.SourceTokenDetail.as_view(),
        name="source-token",
    ),
    path(
        "members/<uuid:member_id>/tokens/", access.MemberTokenList.as_view(), name="member-tokens"
    ),
    path(
        "members/<uuid:member_id>/tokens/<uuid:member_token_id>/",
        access.MemberTokenDetail.as_view(),
        name="member-token",
    ),
    path("audit/", audit.AuditList.as_view(), name="audit"),
    path("tokens/", access.OwnTokenList.as_view(), name="own-tokens"),
    path("tokens/<uuid:own_token_id>/", access.OwnTokenDetail.as_view(), name="own-token"),
]
