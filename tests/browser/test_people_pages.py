"""Every page for people, looked at on a phone and on a laptop, and by axe."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse

from analytics.services import refreshing
from approaches.models import FinishClass
from clubs.models import Club, Membership
from tests.browser.boards import Board, log_in
from tests.browser.window import LAPTOP, PHONE, Window
from tests.factories import make_alert, make_attempt, make_source

# Of the impacts that axe knows, those that keep somebody from using a page.
GRAVE = {"serious", "critical"}


def look_at(window: Window, address: str) -> None:
    """Open a page, and hold it to what every page must keep, by day and by night."""
    window.open(address)
    window.page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    for size in (PHONE, LAPTOP):
        window.check_look_on(size)
    for scheme in ("light", "dark"):
        window.page.emulate_media(color_scheme=scheme)
        found = Axe().run(window.page).response["violations"]
        grave = [
            f"{each['id']}: {[node['html'][:120] for node in each['nodes']]}"
            for each in found
            if each["impact"] in GRAVE
        ]
        assert grave == [], f"{address} by {scheme}: {grave}"


@pytest.mark.parametrize("window", [PHONE], ids=["both"], indirect=True)
def test_every_page_fits_and_can_be_used_by_all(window: Window, board: Board):
    attempts = [
        make_attempt(make_source(board.club), board.athlete, board.session, external_id=f"run-{n}")
        for n in range(2)
    ]
    make_alert(attempts[0])
    refreshing.refresh_series(
        club_id=board.club.id, approach_id=board.approach.id, finish_class=FinishClass.JUMP
    )
    look_at(window, reverse("pages:log_in"))
    log_in(window, "coach@example.org", board.address)

    for address in (
        board.address,
        reverse("pages:club", args=[board.club.slug]),
        reverse("pages:athletes", args=[board.club.slug]),
        reverse("pages:athlete", args=[board.club.slug, board.athlete.id]),
        reverse("pages:log_out"),
        reverse("pages:password"),
    ):
        look_at(window, address)


@pytest.mark.parametrize("window", [PHONE], ids=["both"], indirect=True)
def test_the_admins_pages_can_be_used_by_all(
    window: Window, club: Club, admin_membership: Membership
):
    window.log_in(admin_membership.user.email)

    look_at(window, reverse("admin:index"))
