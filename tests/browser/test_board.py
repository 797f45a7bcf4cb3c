"""The competition page in a real browser: results typed in on a bad line are stored once."""

import json
from datetime import timedelta
from typing import Any

from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Locator, Page, Route, expect

from athletes.models import CoachAssignment
from clubs.models import Role
from common.club_scope import club_scope
from tests.admin.scenes import PASSWORD
from tests.browser.boards import Board, log_in
from tests.browser.window import Window
from tests.factories import make_member


def type_in(page: Page, **fields: str) -> None:
    """Open the form of the only athlete and send it, as a thumb would."""
    page.locator(".enter > summary").click()
    page.get_by_role("radio", name="Valid" if "official" in fields else "No jump").check()
    for name, value in fields.items():
        page.locator(f"[name={name}]").fill(value)
    page.get_by_role("button", name="Keep and send").click()


def line(page: Page) -> Locator:
    return page.locator("#line p")


def test_six_attempts_are_stored_in_order_and_once_while_the_line_is_cut_twice(
    phone: Window, board: Board
):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    expect(line(page)).to_have_text("Everything typed here is sent.")

    type_in(page, official="6.21", toe="9", wind="0,8")
    expect(page.locator(".done li small").first).to_contain_text("9 cm behind")
    # Once it stands among the stored it is counted there, and nowhere else.
    expect(page.locator(".typed li")).to_have_count(0)
    expect(page.locator(".enter > summary")).to_have_text("Enter attempt 2")

    # The first cut: nothing gets through.
    page.context.set_offline(True)
    type_in(page, official="6.22", toe="8")
    type_in(page, toe="3")
    expect(line(page)).to_contain_text("2 results wait to be sent. No line")
    expect(page.locator(".behind")).to_contain_text("does not know 2 results")
    assert len(board.stored()) == 1
    page.context.set_offline(False)
    expect(line(page)).to_have_text("Everything typed here is sent.")
    assert len(board.stored()) == 3

    # The second: the server has stored it, and the browser never hears so.
    cut: list[int] = []

    def lose_the_answer(route: Route) -> None:
        if cut:
            route.continue_()
            return
        cut.append(route.fetch().status)
        route.abort("connectionreset")

    page.route("**/attempts/", lose_the_answer)
    type_in(page, official="6.24")
    expect(page.locator(".typed")).to_contain_text("on its way, no answer yet")
    expect(line(page)).to_contain_text("No line")
    assert cut == [201]
    assert len(board.stored()) == 4
    assert (
        page.locator(".typed").get_by_role("button").count() == 0
    )  # who knows whether it is there
    type_in(page, official="6.25")
    # The tab is closed and opened again: what waits is still there, and is sent.
    phone.open(board.address)
    expect(line(page)).to_have_text("Everything typed here is sent.")
    type_in(page, official="6.26")
    expect(page.locator(".done li")).to_have_count(6)

    stored = board.stored()
    assert [str(each.official_m or each.outcome) for each in stored] == [
        "6.21",
        "6.22",
        "no_jump",
        "6.24",
        "6.25",
        "6.26",
    ]
    assert (stored[0].toe_m, stored[0].wind_mps, stored[0].start_mark_m) == ([0.09], 0.8, 34.2)
    assert stored[2].toe_m == [0.03]
    assert page.evaluate("Object.keys(localStorage).filter(each => each.includes('result'))") == []


def test_a_refused_result_says_why_and_is_corrected(phone: Window, board: Board):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page

    type_in(page, official="6.21", mark="1.2")
    phone.complaints.clear()  # the console tells of the 422
    expect(page.locator(".typed")).to_contain_text("A start mark stands 2 to 80 m before the line.")
    expect(line(page)).to_contain_text("1 was refused")
    assert board.stored() == []
    page.get_by_role("button", name="Change").click()
    page.locator("[name=mark]").fill("34.10")
    page.get_by_role("button", name="Keep and send").click()
    expect(line(page)).to_have_text("Everything typed here is sent.")
    phone.complaints = [each for each in phone.complaints if "422" not in each]

    (attempt,) = board.stored()
    assert (attempt.start_mark_m, str(attempt.official_m)) == (34.1, "6.21")


def test_what_cannot_be_meant_is_asked_about(phone: Window, board: Board):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    page.locator(".enter > summary").click()
    page.get_by_role("button", name="Keep and send").click()
    said = page.locator("form [role=alert]")
    expect(said).to_have_text("Was it valid, or no jump?")
    page.get_by_role("radio", name="Valid").check()

    for fields, words in (
        ({"official": "641"}, "in metres"),
        ({"official": "6.41", "toe": "0.07"}, "in centimetres"),
        ({"official": "six", "toe": ""}, "no number: six"),
        ({"official": ""}, "Type in the official distance"),
    ):
        for name, value in fields.items():
            page.locator(f"[name={name}]").fill(value)
        page.get_by_role("button", name="Keep and send").click()
        expect(said).to_contain_text(words)

    assert board.stored() == []


def test_nothing_is_sent_under_another_persons_log_in(phone: Window, board: Board):
    make_member(board.club, Role.ADMIN, email="admin@example.org", password=PASSWORD)
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    page.context.set_offline(True)
    type_in(page, official="6.21")
    expect(line(page)).to_contain_text("1 result waits to be sent.")

    # Another tab: the coach logs out, an admin logs in.
    page.route("**/attempts/", lambda route: route.abort("connectionreset"))
    page.context.set_offline(False)
    other = Window(page.context.new_page(), phone.base_url)
    other.open(reverse("pages:log_out"))
    other.press("Log out")
    log_in(other, "admin@example.org", board.address)
    expect(line(other.page)).to_contain_text("1 of another person wait here")
    page.unroute("**/attempts/")
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(line(page)).to_contain_text("Somebody else has logged in")
    assert board.stored() == []

    other.open(reverse("pages:log_out"))
    other.press("Log out")
    log_in(other, "coach@example.org", board.address)
    expect(line(other.page)).to_have_text("Everything typed here is sent.")
    phone.complaints = [each for each in phone.complaints if "403" not in each]
    assert [str(each.official_m) for each in board.stored()] == ["6.21"]


def test_who_is_logged_out_keeps_what_was_typed(phone: Window, board: Board):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    page.context.clear_cookies()

    type_in(page, official="6.21")

    expect(line(page)).to_contain_text("You are logged out")
    phone.complaints.clear()  # the console tells of the 401
    page.get_by_role("link", name="Log in again").click()
    page.get_by_label("E-mail").fill("coach@example.org")
    page.get_by_label("Password").fill(PASSWORD)
    phone.press("Log in")
    expect(line(page)).to_have_text("Everything typed here is sent.")
    assert [str(each.official_m) for each in board.stored()] == ["6.21"]


def test_a_result_of_somebody_who_is_not_on_the_board_brings_them_back(phone: Window, board: Board):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    page.context.set_offline(True)
    type_in(page, official="6.21")
    expect(line(page)).to_contain_text("1 result waits")
    page.route("**/attempts/", lambda route: route.abort("connectionreset"))
    page.context.set_offline(False)

    page.goto(phone.base_url + board.address.partition("?")[0])

    expect(page.locator(".typed")).to_contain_text("6.21 m")
    page.unroute("**/attempts/")
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(line(page)).to_have_text("Everything typed here is sent.")
    assert len(board.stored()) == 1


def test_what_is_half_typed_survives_a_reload(phone: Window, board: Board):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    page.locator(".enter > summary").click()
    page.locator("[name=toe]").fill("12")

    page.reload()

    assert page.locator("[name=toe]").input_value() == "12"


def test_a_result_is_entered_by_keyboard_alone(phone: Window, board: Board):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    press = page.keyboard.press

    page.locator(".enter > summary").focus()
    press("Enter")
    press("Tab")  # to the finish, a jump already
    press("Tab")  # to valid or no jump
    press("Space")
    press("Tab")
    page.keyboard.type("6.30")
    press("Enter")

    expect(page.locator(".done li")).to_contain_text("6.30 m")
    assert page.evaluate("document.activeElement.tagName") == "SUMMARY"
    assert [str(each.official_m) for each in board.stored()] == ["6.30"]


def test_it_asks_less_often_while_nobody_answers(phone: Window, board: Board):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    page.clock.install()
    phone.open(board.address)
    expect(line(page)).to_have_text("Everything typed here is sent.")
    asked: list[Any] = []

    def refuse(route: Route) -> None:
        asked.append(json.dumps(route.request.headers.get("if-none-match")))
        route.abort("connectionreset")

    page.route("**/board/**", refuse)
    for _ in range(18):
        page.clock.run_for(5_000)
        page.wait_for_timeout(20)

    # In 90 seconds after 10, 20 more and 40 more.
    assert len(asked) == 3


def test_two_tabs_store_a_result_once(phone: Window, board: Board):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    other = page.context.new_page()
    other.goto(phone.base_url + board.address)
    expect(line(other)).to_have_text("Everything typed here is sent.")
    page.context.set_offline(True)
    type_in(page, official="6.21")
    type_in(page, official="6.22")
    expect(line(other)).to_contain_text("2 results wait")

    page.context.set_offline(False)  # and both begin to send

    for each in (page, other):
        expect(line(each)).to_have_text("Everything typed here is sent.", timeout=20_000)
    # Whoever comes second while the first is answered is told to ask again: in_flight.
    phone.complaints = [each for each in phone.complaints if "409" not in each]
    assert [str(each.official_m) for each in board.stored()] == ["6.21", "6.22"]


def test_a_phone_with_a_wrong_clock_keeps_to_the_servers(phone: Window, board: Board):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    page.clock.install(time=timezone.now() + timedelta(hours=5))
    with page.expect_response(lambda answer: "/board/" in answer.url):
        phone.open(board.address)
    page.wait_for_load_state("networkidle")

    type_in(page, official="6.21")

    expect(page.locator(".done li")).to_contain_text("6.21 m")
    (attempt,) = board.stored()
    assert abs(attempt.started_at - timezone.now()) < timedelta(minutes=2)


def test_a_browser_that_keeps_nothing_says_so_and_sends_all_the_same(phone: Window, board: Board):
    phone.page.add_init_script(
        "Object.defineProperty(window, 'localStorage', {get() { throw new Error('refused'); }})"
    )
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    expect(line(page)).to_contain_text("This browser keeps nothing")

    type_in(page, official="6.21")

    expect(page.locator(".done li")).to_contain_text("6.21 m")


def test_a_run_through_of_the_warm_up_is_typed_in(phone: Window, board: Board):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    page.locator(".enter > summary").click()
    page.get_by_role("radio", name="Run-through").check()
    page.locator("[name=toe]").fill("12")
    page.get_by_role("radio", name="beyond").check()
    page.get_by_role("button", name="Keep and send").click()

    expect(page.locator(".done li")).to_contain_text("Run-through")

    (attempt,) = board.stored()
    assert (attempt.finish, attempt.outcome, attempt.toe_m) == (
        "run_through",
        "not_judged",
        [-0.12],
    )
    # The next one is the first jump still.
    expect(page.locator("[data-part=what]")).to_have_text("attempt 1")


def test_a_result_that_is_being_changed_survives_a_reload_and_is_stored_once(
    phone: Window, board: Board
):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    page.route("**/attempts/", lambda route: route.abort("connectionreset"))
    type_in(page, official="6.21")
    expect(line(page)).to_contain_text("No line")
    type_in(page, official="6.22")
    # The first may be stored, the second cannot be: it was never sent.
    page.get_by_role("button", name="Change").click()
    page.locator("[name=official]").fill("6.32")

    page.reload()
    expect(line(page)).to_contain_text("1 is being changed.")
    page.get_by_role("button", name="Keep and send").click()
    page.unroute("**/attempts/")
    page.evaluate("dispatchEvent(new Event('online'))")

    expect(line(page)).to_have_text("Everything typed here is sent.")
    assert [str(each.official_m) for each in board.stored()] == ["6.21", "6.32"]


def leave_waiting(phone: Window, board: Board, *, days: int) -> None:
    """Type in a result without a line, and let `days` go by."""
    page = phone.page
    page.context.set_offline(True)
    type_in(page, official="6.21")
    expect(line(page)).to_contain_text("1 result waits")
    page.route("**/attempts/", lambda route: route.abort("connectionreset"))
    page.context.set_offline(False)
    page.evaluate(
        """days => {
          const name = Object.keys(localStorage).find(each => each.includes("result"));
          const result = JSON.parse(localStorage.getItem(name));
          result.typedAt -= days * 24 * 3600 * 1000;
          localStorage.setItem(name, JSON.stringify(result));
        }""",
        days,
    )
    phone.open(board.address)
    page.unroute("**/attempts/")


def test_what_has_waited_for_a_week_is_sent_when_its_coach_says_so(phone: Window, board: Board):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    leave_waiting(phone, board, days=8)
    phone.open(board.address)

    expect(line(page)).to_contain_text("1 result has waited for more than a week")
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.locator(".entry .typed")).to_contain_text("no answer came")
    assert board.stored() == []
    page.get_by_role("button", name="Send as it is").click()

    expect(line(page)).to_have_text("Everything typed here is sent.")
    assert [str(each.official_m) for each in board.stored()] == ["6.21"]


def test_what_has_waited_for_a_week_may_be_thrown_away_and_is_not_by_itself(
    phone: Window, board: Board
):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    leave_waiting(phone, board, days=800)
    phone.open(board.address)

    expect(line(page)).to_contain_text("1 result has waited for more than a week")
    page.get_by_role("button", name="Throw away").click()
    page.get_by_role("button", name="Really throw away").click()

    expect(line(page)).to_have_text("Everything typed here is sent.")
    assert board.stored() == []


def test_a_result_of_an_athlete_who_is_in_charge_no_more_is_seen_and_thrown_away(
    phone: Window, board: Board
):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    leave_waiting(phone, board, days=0)
    with club_scope(board.club):
        CoachAssignment.objects.all().delete()

    phone.open(board.address.partition("?")[0])
    phone.complaints = [each for each in phone.complaints if "422" not in each]
    expect(page.locator("#strays")).to_contain_text("6.21 m")
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.locator("#strays")).to_contain_text("No athlete")
    phone.complaints = [each for each in phone.complaints if "422" not in each]
    page.get_by_role("button", name="Throw away").click()
    page.get_by_role("button", name="Really throw away").click()

    expect(page.locator("#strays")).to_be_hidden()
    expect(line(page)).to_have_text("Everything typed here is sent.")


def test_log_out_says_what_waits(phone: Window, board: Board):
    log_in(phone, "coach@example.org", board.address)
    page = phone.page
    waiting = page.locator("#waiting")
    phone.open(reverse("pages:log_out"))
    expect(waiting).to_be_hidden()
    phone.open(board.address)
    page.context.set_offline(True)
    type_in(page, official="6.21")
    expect(line(page)).to_contain_text("1 result waits")
    page.route("**/attempts/", lambda route: route.abort("connectionreset"))
    page.context.set_offline(False)

    phone.open(reverse("pages:log_out"))

    expect(waiting).to_contain_text("1 result that you typed in is not stored yet.")
    page.evaluate("localStorage.setItem('penult.result.somebody-else.1', '{}')")
    phone.open(reverse("pages:log_out"))
    expect(waiting).to_contain_text("1 of another person wait here")
