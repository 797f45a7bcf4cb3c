"""A window of a real browser on a running Penult, and what must hold for whatever it shows."""

import os
import shutil
from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, Request, Response

from tests.admin.scenes import PASSWORD

NAMES = ("chromium", "chromium-browser", "google-chrome")
HOW_TO_INSTALL = (
    "no Chromium: install it (Debian and Ubuntu: apt-get install chromium), or name the program "
    "in PENULT_CHROMIUM"
)
# A browser that asks nobody but us, and starts as new each time.
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
# Common practice, no source: the width of many phones, and of a small laptop.
PHONE = {"width": 390, "height": 844}
LAPTOP = {"width": 1280, "height": 900}
# WCAG 2.2, success criterion 2.5.8, Target Size (Minimum): 24 by 24 CSS pixels.
SMALLEST_TARGET_PX = 24

_TOO_WIDE = "document.scrollingElement.scrollWidth - window.innerWidth"
# What a fingertip is to hit. A choice that a script shows in another way is 1 pixel wide itself.
_TOO_SMALL = """smallest => [...document.querySelectorAll(
    'a[href], button, input:not([type=hidden]), select, textarea, summary'
  )]
  .filter(each => !each.matches('.select2-hidden-accessible, .skip-to-content-link'))
  .filter(each => each.checkVisibility({visibilityProperty: true}))
  .map(each => [each, each.getBoundingClientRect()])
  .filter(([, box]) => box.width && box.height)
  .filter(([, box]) => box.width < smallest || box.height < smallest)
  .map(([each, box]) =>
    `${each.tagName} ${each.textContent.trim() || each.name} ${box.width}x${box.height}`)"""


def find_chromium() -> str | None:
    named = os.environ.get("PENULT_CHROMIUM")
    return named or next((path for path in map(shutil.which, NAMES) if path), None)


@dataclass
class Window:
    """A browser window of one size, and what it had to complain about."""

    page: Page
    base_url: str
    complaints: list[str] = field(default_factory=list)

    @property
    def is_phone(self) -> bool:
        return self.page.viewport_size == PHONE

    def log_in(self, email: str, password: str = PASSWORD) -> None:
        self.open("/admin/")
        self.page.get_by_label("E-mail").fill(email)
        self.page.get_by_label("Password").fill(password)
        self.press("Log in")

    def open(self, address: str) -> None:
        answer = self.page.goto(self.base_url + address)
        assert answer is not None
        assert answer.status == 200, f"{answer.status} for {address}"
        self.check_look()

    def press(self, label: str) -> None:
        """Press a button that leads to another page."""
        with self.page.expect_navigation():
            self.page.get_by_role("button", name=label, exact=True).first.click()
        self.check_look()

    def follow(self, label: str, *, within: str = "#content") -> None:
        with self.page.expect_navigation():
            self.page.locator(within).get_by_role("link", name=label).first.click()
        self.check_look()

    def check_look(self) -> None:
        """Hold the page to what every page must keep; called for each that is shown."""
        where = self.page.url.removeprefix(self.base_url)
        assert self.page.evaluate(_TOO_WIDE) <= 0, f"{where} is wider than the window"
        if self.is_phone:
            small = self.page.evaluate(_TOO_SMALL, SMALLEST_TARGET_PX)
            assert small == [], f"{where} has targets that a fingertip misses: {small}"

    def check_look_on(self, size: Any) -> None:
        """Hold the page to the same in a window of another size, and go back to the first."""
        first: Any = self.page.viewport_size
        self.page.set_viewport_size(size)
        self.check_look()
        self.page.set_viewport_size(first)

    def text(self, selector: str = "#content") -> str:
        return " ".join(self.page.locator(selector).inner_text().split())

    def _note_request(self, request: Request) -> None:
        if not request.url.startswith((self.base_url, "data:", "blob:")):
            self.complaints.append(f"asked elsewhere: {request.url}")

    def _note_response(self, response: Response) -> None:
        if response.status >= 400:
            self.complaints.append(f"{response.status} for {response.url}")

    def watch(self) -> None:
        """Note every message on the console, failed answer, and request to somebody else."""
        self.page.on("console", lambda said: self._note_message(said.type, said.text))
        self.page.on("pageerror", lambda error: self.complaints.append(f"script: {error}"))
        self.page.on("request", self._note_request)
        self.page.on("response", self._note_response)

    def _note_message(self, kind: str, text: str) -> None:
        if kind in {"error", "warning"}:
            self.complaints.append(f"console: {text}")


def open_window(browser: Browser, size: Any, base_url: str) -> tuple[BrowserContext, Window]:
    context = browser.new_context(viewport=size, has_touch=size == PHONE)
    context.set_default_timeout(10_000)
    window = Window(context.new_page(), base_url)
    window.watch()
    return context, window
