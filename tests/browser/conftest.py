"""One headless browser for all tests here; each test has a window and a club of its own."""

import threading
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.signals import request_finished, request_started
from playwright.sync_api import Browser, sync_playwright
from pytest_django.live_server_helper import LiveServer

from clubs.models import Club, Membership, Role
from tests.admin.scenes import PASSWORD
from tests.browser.boards import Board, make_board
from tests.browser.window import (
    FLAGS,
    HOW_TO_INSTALL,
    LAPTOP,
    PHONE,
    Window,
    find_chromium,
    open_window,
)
from tests.factories import make_club, make_member


# Not for the whole session: while it lives, an event loop runs in this thread.
@pytest.fixture(scope="package")
def chromium() -> Iterator[Browser]:
    program = find_chromium()
    if program is None:
        pytest.skip(HOW_TO_INSTALL)
    with pytest.MonkeyPatch.context() as environment, sync_playwright() as playwright:
        # Django takes the browser's loop for one that its own queries would block.
        environment.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        browser = playwright.chromium.launch(executable_path=program, args=list(FLAGS))
        yield browser
        browser.close()


class Answering:
    """How many requests the server is answering: one may outlast the window that asked."""

    def __init__(self) -> None:
        self._n = 0
        self._changed = threading.Condition()

    def begin(self, **_sent: Any) -> None:
        self._count(1)

    def end(self, **_sent: Any) -> None:
        self._count(-1)

    def _count(self, more: int) -> None:
        with self._changed:
            self._n += more
            self._changed.notify_all()

    def wait_for_end(self) -> None:
        """Wait until nothing is answered: tables are emptied next, which no request may see."""
        with self._changed:
            assert self._changed.wait_for(lambda: self._n <= 0, timeout=20)


@pytest.fixture
def answering(live_server: LiveServer) -> Iterator[Answering]:
    counted = Answering()
    request_started.connect(counted.begin)
    request_finished.connect(counted.end)
    yield counted
    request_started.disconnect(counted.begin)
    request_finished.disconnect(counted.end)


@pytest.fixture(params=[PHONE, LAPTOP], ids=["phone", "laptop"])
def window(
    request: pytest.FixtureRequest,
    chromium: Browser,
    live_server: LiveServer,
    answering: Answering,
) -> Iterator[Window]:
    """Open a window; at the end nothing may have gone wrong in it."""
    context, window = open_window(chromium, request.param, live_server.url)
    yield window
    context.close()
    answering.wait_for_end()
    assert window.complaints == []


@pytest.fixture
def phone(chromium: Browser, live_server: LiveServer, answering: Answering) -> Iterator[Window]:
    """Open a phone's window whose line may be cut: a failed request is no complaint here."""
    context, window = open_window(chromium, PHONE, live_server.url)
    yield window
    context.close()
    answering.wait_for_end()
    assert [each for each in window.complaints if not _is_of_the_line(each)] == []


def _is_of_the_line(complaint: str) -> bool:
    return "net::ERR_" in complaint


@pytest.fixture
def board(club: Club) -> Board:
    return make_board(club)


@pytest.fixture
def club(transactional_db: None) -> Club:
    return make_club(name="Club of ours")


@pytest.fixture
def admin_membership(club: Club) -> Membership:
    return make_member(club, Role.ADMIN, email="admin@example.org", password=PASSWORD)


@pytest.fixture
def admin(window: Window, admin_membership: Membership) -> Any:
    """Return a window in which the club's admin is logged in."""
    window.log_in(admin_membership.user.email)
    return window
