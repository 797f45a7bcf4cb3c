"""Every page of the admin, looked at on a phone and on a laptop."""

import pytest
from django.contrib import admin
from django.db.models import Model
from django.urls import reverse

from clubs.admin import OverviewAdmin
from clubs.models import Club, Membership
from tests.admin.scenes import furnish_club
from tests.browser.window import LAPTOP, PHONE, Window


def addresses_of(model: type[Model], row: Model | None) -> list[str]:
    """Return the pages of a kind of row: the list, the form for a new one, and those of `row`."""
    page = admin.site._registry[model]
    name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
    found = [reverse(f"{name}_changelist")]
    if getattr(page, "may_add", False):
        found.append(reverse(f"{name}_add"))
    if row is None:
        return found
    kinds = ["change"]
    if getattr(page, "may_delete", False):
        kinds += ["delete", "history"]  # histories look alike everywhere: those of two are enough
    found += [reverse(f"{name}_{kind}", args=[row.pk]) for kind in kinds]
    if isinstance(page, OverviewAdmin):
        found.append(reverse(page.overview_name, args=[row.pk]))
    return found


# Loaded once each, and looked at in both sizes: there are many pages.
@pytest.mark.parametrize("window", [LAPTOP], ids=["both"], indirect=True)
def test_every_page_fits_the_window(window: Window, club: Club, admin_membership: Membership):
    rows = furnish_club(club)
    window.log_in(admin_membership.user.email)

    for model in admin.site._registry:
        for address in addresses_of(model, rows.get(model)):
            window.open(address)
            window.check_look_on(PHONE)

    window.open(reverse("admin:password_change"))
    window.check_look_on(PHONE)


def test_the_first_page_tells_what_waits(window: Window, club: Club, admin_membership: Membership):
    furnish_club(club)
    window.log_in(admin_membership.user.email)

    waiting = window.text(".notices")

    assert "1 refused rows" in waiting
    assert "1 gate runs without an attempt" in waiting
    assert "1 open alerts that nobody has acknowledged" in waiting
    window.follow("1 refused rows")
    assert "waiting" in window.text("#result_list")


def test_a_stranger_sees_the_log_in_only(window: Window, club: Club):
    window.log_in("benno@example.org", "not-the-password")

    assert "do not open a club's admin" in window.text()
    window.open("/admin/athletes/athlete/")
    assert window.page.get_by_label("Password").is_visible()
