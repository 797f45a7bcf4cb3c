"""Refused rows: looked at, mended and pushed again, by the service that scripts reach over HTTP."""

import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from approaches.models import Attempt, QuarantinedRow
from approaches.services import pushing
from athletes.models import Athlete
from clubs.models import AuditEntry, Club, Membership, Source
from common.club_scope import club_scope
from tests.admin.scenes import save
from tests.factories import (
    make_approach,
    make_athlete,
    make_quarantined_row,
    make_reading,
    make_session,
    make_source,
    rows_of,
)

pytestmark = pytest.mark.django_db(transaction=True)

LIST = "admin:approaches_quarantinedrow_changelist"


@pytest.fixture
def source(club: Club) -> Source:
    return make_source(club)


@pytest.fixture
def athlete(club: Club) -> Athlete:
    athlete = make_athlete(club)
    make_approach(athlete)
    return athlete


def refuse(source: Source, reading: dict[str, Any]) -> QuarantinedRow:
    """Push a row that cannot be stored; return what the quarantine keeps of it."""
    club = Club(id=source.club_id)
    pushing.record_attempts(club=club, source_id=source.id, rows=rows_of(reading))
    with club_scope(club):
        return QuarantinedRow.objects.get(external_id=reading["external_id"])


def mend(browser: Client, club: Club, row: QuarantinedRow, text: str) -> Any:
    return save(browser, club, "approaches_quarantinedrow", {"row": text}, row=row)


def shown_row(browser: Client, row: QuarantinedRow) -> str:
    page = browser.get(reverse("admin:approaches_quarantinedrow_change", args=[row.pk]))
    return str(page.context["adminform"].form["row"].value())


def errors_at_row(answer: Any) -> list[str]:
    assert answer.status_code == 200
    return list(answer.context["adminform"].form.errors["row"])


class TestLooking:
    def test_shows_a_field_a_line_and_every_digit_as_sent(
        self, browser: Client, club: Club, source: Source, athlete: Athlete
    ):
        reading = make_reading(athlete, make_session(club), finish="fly", wind_mps=0.8)
        row = refuse(source, reading)
        with club_scope(club):
            QuarantinedRow.objects.update(raw=row.raw.replace("0.8", "0.80"))

        shown = shown_row(browser, row)

        assert json.loads(shown) == reading
        assert '\n  "wind_mps": 0.80,' in shown

    def test_shows_what_is_no_json_as_it_is(
        self, browser: Client, club: Club, source: Source, athlete: Athlete
    ):
        row = refuse(source, make_reading(athlete, make_session(club), finish="fly"))
        with club_scope(club):
            QuarantinedRow.objects.update(raw='{"external_id": "run-1", <oops>')

        assert shown_row(browser, row) == '{"external_id": "run-1", <oops>'

    def test_lists_reason_and_time_left(
        self, browser: Client, club: Club, source: Source, athlete: Athlete
    ):
        refuse(source, make_reading(athlete, make_session(club), finish="fly"))

        page = browser.get(reverse(LIST)).content.decode()

        for words in ("unknown_value", "/finish", "4\xa0weeks", "waiting"):
            assert words in page


class TestMending:
    def test_a_mended_row_is_stored_under_its_own_source(
        self,
        browser: Client,
        club: Club,
        source: Source,
        athlete: Athlete,
        admin_membership: Membership,
    ):
        reading = make_reading(athlete, make_session(club), finish="fly")
        row = refuse(source, reading)

        answer = mend(browser, club, row, json.dumps({**reading, "finish": "jump"}, indent=2))

        assert answer.headers["Location"] == reverse(LIST)
        with club_scope(club):
            attempt = Attempt.objects.get()
            row.refresh_from_db()
            (entry,) = AuditEntry.objects.filter(action__startswith="quarantine")
        assert (attempt.source_id, attempt.external_id) == (source.id, reading["external_id"])
        assert row.replayed_at is not None
        assert (entry.actor_id, entry.subject_ids) == (admin_membership.id, [row.id])
        said = browser.get(reverse(LIST)).content.decode()
        assert reverse("admin:approaches_attempt_change", args=[attempt.pk]) in said

    def test_what_is_refused_again_stands_beside_the_row(
        self, browser: Client, club: Club, source: Source, athlete: Athlete
    ):
        reading = make_reading(athlete, make_session(club), finish="fly")
        row = refuse(source, reading)
        text = json.dumps({**reading, "finish": "jump", "start_mark_m": -3, "gates": None})

        answer = mend(browser, club, row, text)

        (error,) = errors_at_row(answer)
        assert error.startswith("/start_mark_m: ")
        assert error.endswith("(start_mark_out_of_range)")
        assert answer.context["adminform"].form["row"].value() == text
        with club_scope(club):
            row.refresh_from_db()
            assert not Attempt.objects.exists()
        assert row.replayed_at is None

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            ('{"external_id": ', "This is not JSON"),
            ("[1]", "A row is a JSON object"),
            ("", "required"),
        ],
    )
    def test_what_is_no_row_is_not_pushed(
        self,
        browser: Client,
        club: Club,
        source: Source,
        athlete: Athlete,
        text: str,
        words: str,
    ):
        row = refuse(source, make_reading(athlete, make_session(club), finish="fly"))

        (error,) = errors_at_row(mend(browser, club, row, text))

        assert words in error

    def test_a_row_whose_session_came_later_is_replayed_as_it_is(
        self, browser: Client, club: Club, source: Source, athlete: Athlete
    ):
        row = make_quarantined_row(source, athlete)

        # A browser sends line breaks as CRLF (HTML, "normalizing newlines in form values").
        mend(browser, club, row, shown_row(browser, row).replace("\n", "\r\n"))

        with club_scope(club):
            assert Attempt.objects.get().external_id == row.external_id

    def test_another_attempt_of_the_same_id_is_a_conflict(
        self, browser: Client, club: Club, source: Source, athlete: Athlete
    ):
        session = make_session(club)
        reading = make_reading(athlete, session)
        pushing.record_attempts(club=club, source_id=source.id, rows=rows_of(reading))
        row = refuse(source, {**reading, "finish": "fly"})

        answer = mend(browser, club, row, json.dumps({**reading, "wind_mps": 1.9}))

        (error,) = errors_at_row(answer)
        assert error.endswith("(conflict)")

    def test_a_replayed_row_can_only_be_looked_at(
        self, browser: Client, club: Club, source: Source, athlete: Athlete
    ):
        row = make_quarantined_row(source, athlete)
        mend(browser, club, row, shown_row(browser, row))

        page = browser.get(reverse("admin:approaches_quarantinedrow_change", args=[row.pk]))
        again = mend(browser, club, row, row.raw)

        assert 'value="Replay"' not in page.content.decode()
        assert row.external_id in page.content.decode()
        assert again.status_code == 403
        with club_scope(club):
            assert Attempt.objects.count() == 1


class TestReplayingMany:
    def test_stores_what_can_be_stored_and_says_why_the_rest_cannot(
        self, browser: Client, club: Club, source: Source, athlete: Athlete
    ):
        good = make_quarantined_row(source, athlete)
        bad = refuse(source, make_reading(athlete, make_session(club), finish="fly"))

        answer = browser.post(
            reverse(LIST),
            {"action": "replay", "_selected_action": [str(good.pk), str(bad.pk)]},
            follow=True,
        )

        assert "1 of 2 stored. Refused again: 1 unknown_value." in answer.content.decode()
        with club_scope(club):
            assert Attempt.objects.get().external_id == good.external_id
            waiting = QuarantinedRow.objects.filter(replayed_at=None)
            assert [row.id for row in waiting] == [bad.id]
