from django.urls import path

from clubs.pages import views

urlpatterns = [
    path("", views.Clubs.as_view(), name="clubs"),
    path("log-in/", views.LogIn.as_view(), name="log_in"),
    path("log-out/", views.LogOut.as_view(), name="log_out"),
    path("password/", views.NewPassword.as_view(), name="password"),
]
