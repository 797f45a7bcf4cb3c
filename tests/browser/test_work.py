"""The work of a club's admin, done with a mouse or a finger."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from approaches.models import Attempt, FinishClass, GateRun, PendingRefresh, QuarantinedRow
from approaches.services import pushing
from athletes.models import Athlete, BodyMeasurement, Consent, SquadMember
from clubs.models import Club, Membership, Role, Source
from clubs.selectors import today_at
from common.club_scope import club_scope
from tests.admin.scenes import furnish_club
from tests.browser.window import Window
from tests.factories import (
    make_approach,
    make_athlete,
    make_attempt,
    make_club,
    make_gate_run,
    make_member,
    make_reading,
    make_session,
    make_source,
    make_squad,
    rows_of,
)


@pytest.fixture
def source(club: Club) -> Source:
    return make_source(club)


@pytest.fixture
def athlete(club: Club) -> Athlete:
    athlete = make_athlete(club, code="A-17", given_name="Mira", family_name="Ostwiek")
    make_approach(athlete)
    return athlete


def test_an_athletes_page_tells_all_that_is_known(admin: Window, club: Club):
    rows = furnish_club(club)
    athlete = rows[Athlete]
    with club_scope(club):
        SquadMember.objects.update(from_date=today_at(club))

    admin.open(reverse("admin:athletes_athlete_changelist"))
    admin.follow(athlete.family_name)

    shown = admin.text()
    for words in (
        "11 of the last 20 attempts were no jumps",  # the open alert
        "LJ-16 Long jump, 16 steps, standing start",
        "Plan revision 1 in force since",
        "Juniors since",
        "given Training records by a guardian",
        "missing Research",
    ):
        assert words in shown


def test_a_refused_row_is_mended_and_stored(
    admin: Window, club: Club, source: Source, athlete: Athlete
):
    reading = make_reading(athlete, make_session(club), finish="fly")
    pushing.record_attempts(club=club, source_id=source.id, rows=rows_of(reading))

    admin.open("/admin/")
    admin.follow("1 refused rows")
    admin.page.locator("#result_list tbody th a").click()
    row = admin.page.get_by_label("Row")
    row.fill(row.input_value().replace('"fly"', '"flight"'))
    admin.press("Replay")
    assert "/finish" in admin.text(".errorlist >> nth=0")  # refused again, and kept as mended
    row.fill(row.input_value().replace('"flight"', '"jump"'))
    admin.press("Replay")

    assert f"Stored as attempt {reading['external_id']}" in admin.text(".messagelist")
    with club_scope(club):
        assert Attempt.objects.get().external_id == reading["external_id"]
        assert QuarantinedRow.objects.get().replayed_at is not None


def test_a_gate_run_gets_the_suggested_attempt_at_a_press(
    admin: Window, club: Club, source: Source, athlete: Athlete
):
    # The attempt starts a minute earlier: a run finds it by itself within 10 s.
    attempt = make_attempt(source, athlete, make_session(club), gates=None)
    run = make_gate_run(source, athlete, started_at="2026-05-02T09:15:07.250+02:00")

    admin.open(reverse("admin:approaches_gaterun_changelist") + "?matched=0")
    admin.press(f"Match {attempt.external_id}")

    assert f"Gate run {run.external_id} has its attempt" in admin.text(".messagelist")
    with club_scope(club):
        assert GateRun.objects.get().attempt_id == attempt.id


def test_series_that_failed_are_hurried(admin: Window, club: Club, athlete: Athlete):
    now = timezone.now()
    with club_scope(club):
        PendingRefresh.objects.create(
            club=club,
            approach=athlete.approaches.get(),
            finish_class=FinishClass.JUMP,
            first_changed_at=now,
            failures=5,
            last_error="ZeroDivisionError",
            waiting_since=now - timedelta(minutes=7),
            next_try_at=now + timedelta(hours=1),
        )

    admin.open(reverse("admin:approaches_pendingrefresh_changelist"))
    assert "ZeroDivisionError" in admin.text("#result_list")
    admin.page.locator("#result_list input[type=checkbox][name=_selected_action]").check()
    admin.page.get_by_label("Action:").select_option("Try selected series now")
    admin.press("Go")

    assert "1 of 1 were put off; tried now." in admin.text(".messagelist")
    with club_scope(club):
        assert PendingRefresh.objects.get().next_try_at <= timezone.now()


def test_an_athlete_is_added_with_squad_height_and_consent(admin: Window, club: Club):
    make_squad(club, name="Juniors")
    page = admin.page

    admin.open(reverse("admin:athletes_athlete_changelist"))
    admin.follow("Add athlete")
    page.get_by_label("Code").fill("A-30")
    page.get_by_label("Given name").fill("Lena")
    page.get_by_label("Family name").fill("Torbach")
    page.get_by_label("Birth date").fill("2011-07-07")
    page.get_by_label("Take-off foot").select_option("Left")
    page.get_by_role("button", name="Add another Time in a squad").click()
    page.locator("#squad_times-0 .select2").click()
    page.get_by_role("option", name="Juniors").click()
    page.locator("#id_squad_times-0-from_date").fill("2026-01-10")
    page.get_by_role("button", name="Add another Body measurement").click()
    page.locator("#id_measurements-0-measured_date").fill("2026-01-10")
    page.locator("#id_measurements-0-height_m").fill("1.58")
    page.get_by_role("button", name="Add another Consent").click()
    page.locator("#id_consents-0-purpose").select_option("Training records")
    page.locator("#id_consents-0-given_by").select_option("A guardian")
    page.locator("#id_consents-0-text_version").fill("2026-01")
    page.locator("#id_consents-0-from_date").fill("2026-01-10")
    admin.check_look()
    admin.press("Save")

    expect(page.locator(".messagelist")).to_contain_text("Lena Torbach (A-30)")
    with club_scope(club):
        athlete = Athlete.objects.get()
        assert (athlete.family_name, athlete.take_off_foot) == ("Torbach", "left")
        assert SquadMember.objects.get().squad.name == "Juniors"
        assert BodyMeasurement.objects.get().height_m == 1.58
        assert Consent.objects.get().athlete_id == athlete.id


def test_a_wrong_field_is_pointed_at_and_nothing_is_lost(admin: Window, club: Club):
    page = admin.page

    admin.open(reverse("admin:athletes_athlete_add"))
    page.get_by_label("Code").fill("A-31")
    page.get_by_label("Given name").fill("Lena")
    page.get_by_label("Family name").fill("Torbach")
    page.get_by_label("Birth date").fill("7.7.2011")
    admin.press("Save")

    assert "Enter a valid date" in admin.text(".field-birth_date")
    assert page.get_by_label("Birth date").input_value() == "7.7.2011"
    assert page.get_by_label("Given name").input_value() == "Lena"


def test_a_new_token_is_shown_once(admin: Window, source: Source):
    page = admin.page

    admin.open(reverse("admin:clubs_accesstoken_add"))
    page.get_by_label("Name").fill("Gates at the pit")
    page.get_by_label("Source").select_option(source.name)
    page.get_by_label("write attempts and sessions").check()
    admin.press("Save")
    secret = admin.text("#new-token")
    admin.follow("I have copied it")

    assert secret.startswith("pnl_")
    assert secret not in page.content()


def test_the_club_changes_for_who_administers_two(
    window: Window, club: Club, admin_membership: Membership
):
    other = make_club(name="Club of theirs")
    make_member(other, Role.ADMIN, email=admin_membership.user.email)
    window.log_in(admin_membership.user.email)

    window.press("Club of theirs")
    assert "Club of theirs" in window.text("#header")
    window.follow("Other club", within="#header")
    window.press("Club of ours")

    assert "Club of ours" in window.text("#header")
