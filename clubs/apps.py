from django.apps import AppConfig
from django.contrib.admin.apps import AdminConfig


class ClubsConfig(AppConfig):
    name = "clubs"
    verbose_name = "Club and access"


class ClubAdminConfig(AdminConfig):
    """Django's admin, with one club in scope at a time."""

    default_site = "clubs.admin.ClubAdminSite"

    def ready(self) -> None:
        super().ready()
        # Pages register with the site, which is made while `clubs.admin` is imported; so these
        # cannot be imported there.
        from clubs.admin import access, people, places  # noqa: F401  # they register themselves
