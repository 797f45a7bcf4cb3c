from django.urls import path

from athletes.api import views

urlpatterns = [
    path("athletes/", views.AthleteList.as_view(), name="athletes"),
    path("athletes/<uuid:athlete_id>/", views.AthleteDetail.as_view(), name="athlete"),
]
