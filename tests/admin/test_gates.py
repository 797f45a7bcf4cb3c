"""Gate runs without an attempt, matched by hand."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from approaches.models import Attempt, GateRun, MatchedBy, Unmatched
from athletes.models import Athlete
from clubs.models import Club, Source
from common.club_scope import club_scope
from tests.factories import (
    make_approach,
    make_athlete,
    make_attempt,
    make_club,
    make_gate_run,
    make_session,
    make_source,
)

pytestmark = pytest.mark.django_db(transaction=True)

LIST = "admin:approaches_gaterun_changelist"
# The attempt starts at 09:14:07.25; a run finds it by itself within 10 s.
A_MINUTE_LATER = "2026-05-02T09:15:07.250+02:00"


@pytest.fixture
def source(club: Club) -> Source:
    return make_source(club)


@pytest.fixture
def athlete(club: Club) -> Athlete:
    athlete = make_athlete(club)
    make_approach(athlete)
    return athlete


@pytest.fixture
def attempt(club: Club, source: Source, athlete: Athlete) -> Attempt:
    return make_attempt(source, athlete, make_session(club), gates=None)


def press(browser: Client, run: GateRun, page: str, **fields: str):
    return browser.post(reverse(f"admin:approaches_gaterun_{page}", args=[run.pk]), fields)


class TestSuggestions:
    def test_offers_the_attempt_near_in_time_with_a_button(
        self, browser: Client, source: Source, athlete: Athlete, attempt: Attempt
    ):
        run = make_gate_run(source, athlete, started_at=A_MINUTE_LATER)

        for page in (
            reverse(LIST),
            reverse("admin:approaches_gaterun_change", args=[run.pk]),
        ):
            shown = browser.get(page).content.decode()
            assert f'value="{attempt.id}"' in shown
            assert reverse("admin:approaches_gaterun_match", args=[run.pk]) in shown
            assert "60.0 s earlier" in shown

    def test_offers_no_button_where_gates_are_filled(
        self, browser: Client, club: Club, source: Source, athlete: Athlete
    ):
        filled = make_attempt(source, athlete, make_session(club))
        make_gate_run(source, athlete, started_at=A_MINUTE_LATER)

        shown = browser.get(reverse(LIST)).content.decode()

        assert "has gates already" in shown
        assert f'value="{filled.id}"' not in shown

    def test_asks_once_for_a_whole_page(
        self, browser: Client, source: Source, athlete: Athlete, attempt: Attempt
    ):
        make_gate_run(source, athlete, started_at=A_MINUTE_LATER)
        count_queries(browser)  # the first look at a page asks for things that are kept
        few = count_queries(browser)
        for _ in range(5):
            make_gate_run(source, athlete, started_at=A_MINUTE_LATER)

        assert count_queries(browser) == few


class TestMatching:
    def test_a_pressed_button_gives_the_run_its_attempt(
        self, browser: Client, club: Club, source: Source, athlete: Athlete, attempt: Attempt
    ):
        run = make_gate_run(source, athlete, started_at=A_MINUTE_LATER)

        answer = press(browser, run, "match", attempt=str(attempt.id))

        assert answer.headers["Location"] == reverse(LIST) + "?matched=0"
        with club_scope(club):
            run.refresh_from_db()
            attempt.refresh_from_db()
        assert (run.attempt_id, run.matched_by) == (attempt.id, MatchedBy.HAND)
        assert attempt.gate_time_s == run.time_s

    def test_says_at_the_run_why_an_attempt_cannot_take_it(
        self, browser: Client, club: Club, source: Source, athlete: Athlete
    ):
        filled = make_attempt(source, athlete, make_session(club))
        run = make_gate_run(source, athlete, started_at=A_MINUTE_LATER)

        answer = press(browser, run, "match", attempt=str(filled.id))

        page = reverse("admin:approaches_gaterun_change", args=[run.pk])
        assert answer.headers["Location"] == page
        assert "(gates_filled)" in browser.get(page).content.decode()

    @pytest.mark.parametrize(
        "attempt_id", ["", "not-an-id", "019a0000-0000-7000-8000-00000000abcd"]
    )
    def test_an_attempt_that_is_none_is_refused(
        self, browser: Client, source: Source, athlete: Athlete, attempt_id: str
    ):
        run = make_gate_run(source, athlete)

        press(browser, run, "match", attempt=attempt_id)

        page = reverse("admin:approaches_gaterun_change", args=[run.pk])
        assert "(unknown_attempt)" in browser.get(page).content.decode()

    def test_matches_no_run_and_no_attempt_of_a_stranger(
        self, browser: Client, club: Club, source: Source, athlete: Athlete, attempt: Attempt
    ):
        stranger = make_club()
        their_source, benno = make_source(stranger), make_athlete(stranger)
        make_approach(benno)
        their_run = make_gate_run(their_source, benno, started_at=A_MINUTE_LATER)
        their_attempt = make_attempt(their_source, benno, make_session(stranger), gates=None)
        our_run = make_gate_run(source, athlete, started_at=A_MINUTE_LATER)

        press(browser, their_run, "match", attempt=str(their_attempt.id))
        press(browser, our_run, "match", attempt=str(their_attempt.id))

        for run in (their_run, our_run):
            with club_scope(run.club_id):
                run.refresh_from_db()
            assert run.attempt_id is None

    def test_only_a_pressed_button_matches(
        self, browser: Client, source: Source, athlete: Athlete, attempt: Attempt
    ):
        run = make_gate_run(source, athlete, started_at=A_MINUTE_LATER)

        address = reverse("admin:approaches_gaterun_match", args=[run.pk])

        assert browser.get(address, {"attempt": str(attempt.id)}).status_code == 405


class TestParting:
    @pytest.fixture
    def run(self, source: Source, athlete: Athlete, attempt: Attempt) -> GateRun:
        run = make_gate_run(source, athlete)
        assert run.attempt_id == attempt.id
        return run

    def test_takes_a_run_off_its_attempt_with_a_reason(
        self, browser: Client, club: Club, run: GateRun, attempt: Attempt
    ):
        press(browser, run, "unmatch", reason="It was the next athlete's run.")

        with club_scope(club):
            run.refresh_from_db()
            attempt.refresh_from_db()
        assert (run.attempt_id, run.unmatched_because) == (None, Unmatched.BY_HAND)
        assert attempt.gate_at_m == []

    def test_asks_for_a_reason(self, browser: Client, club: Club, run: GateRun, attempt: Attempt):
        press(browser, run, "unmatch", reason="")

        page = reverse("admin:approaches_gaterun_change", args=[run.pk])
        assert "(wrong_length)" in browser.get(page).content.decode()
        with club_scope(club):
            run.refresh_from_db()
        assert run.attempt_id == attempt.id


def count_queries(browser: Client) -> int:
    with CaptureQueriesContext(connection) as queries:
        assert browser.get(reverse(LIST)).status_code == 200
    return len(queries)
