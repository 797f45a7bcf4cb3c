"""The page of refused rows."""

from django.contrib import admin

from approaches.models import QuarantinedRow
from clubs.admin import ClubModelAdmin


@admin.register(QuarantinedRow)
class QuarantinedRowAdmin(ClubModelAdmin):
    """Refused rows with their reasons. They are mended and replayed over the API."""

    fields = (
        ("source", "external_id"),
        ("code", "pointer"),
        "detail",
        "raw",
        ("received_at", "expires_at", "replayed_at"),
    )
    list_display = (
        "received_at",
        "source",
        "external_id",
        "code",
        "pointer",
        "detail",
        "replayed_at",
    )
    list_select_related = ("source",)
    list_filter = ("code", "source", ("replayed_at", admin.EmptyFieldListFilter))
    search_fields = ("external_id", "code", "pointer", "detail")
    date_hierarchy = "received_at"
    ordering = ("-received_at", "-id")
