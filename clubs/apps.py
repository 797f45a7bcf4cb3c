from django.apps import AppConfig
from django.contrib.admin.apps import AdminConfig


class ClubsConfig(AppConfig):
    name = "clubs"


class ClubAdminConfig(AdminConfig):
    """Django's admin, with one club in scope at a time."""

    default_site = "clubs.admin.ClubAdminSite"
