"""Chromium as the system brings it, before a server that runs behind the wall."""

import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

from clubs.models import Club, Membership, Role
from tests.admin.scenes import PASSWORD, Rows, furnish_club
from tests.factories import make_club, make_member

PHONE = {"width": 390, "height": 844}
DESKTOP = {"width": 1280, "height": 900}
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 15_000


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """Start Chromium; without one the tests say so and are skipped."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.skip("Chromium is not installed (Debian: apt-get install chromium)")
    # Playwright keeps an event loop in this thread, beside which Django refuses to ask the
    # database; the two never run at the same time.
    with pytest.MonkeyPatch.context() as patch, sync_playwright() as driver:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        browser = driver.chromium.launch(executable_path=found, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def club(transactional_db: None) -> Club:
    return make_club(name="Club of ours", time_zone="Europe/Vienna")


@pytest.fixture
def admin_membership(club: Club) -> Membership:
    return make_member(club, Role.ADMIN, email="admin@example.org", password=PASSWORD)


@pytest.fixture
def ours(club: Club, admin_membership: Membership) -> Rows:
    return furnish_club(club)


class Visit:
    """A person at a screen of one size, with everything that the browser complains about."""

    def __init__(self, page: Page, address: str) -> None:
        self.page = page
        self.address = address
        self.complaints: list[str] = []
        page.on("console", self._note)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("requestfailed", lambda request: self.complaints.append(request.url))

    def _note(self, message: ConsoleMessage) -> None:
        if message.type in {"error", "warning"}:
            self.complaints.append(message.text)

    def go(self, path: str) -> None:
        self.page.goto(f"{self.address}{path}")

    def log_in(self, email: str = "admin@example.org") -> None:
        self.go("/admin/")
        self.page.get_by_label("E-mail").fill(email)
        self.page.get_by_label("Password").fill(PASSWORD)
        self.page.get_by_role("button", name="Log in").click()
        self.page.wait_for_url(f"{self.address}/admin/**")
