"""The admin of one club at a time."""

from django.contrib.admin import AdminSite


class ClubAdminSite(AdminSite):
    site_header = "Penult"
