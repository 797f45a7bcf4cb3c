"""Series that wait: why, since when, and tried again at once when an admin says so."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from approaches.models import FinishClass, PendingRefresh
from approaches.signals import attempts_changed
from clubs.models import AuditEntry, Club
from common.club_scope import club_scope
from tests.factories import make_approach, make_athlete, make_club

pytestmark = pytest.mark.django_db(transaction=True)

LIST = "admin:approaches_pendingrefresh_changelist"


def make_pending(club: Club, **fields: object) -> PendingRefresh:
    approach = make_approach(make_athlete(club))
    with club_scope(club):
        return PendingRefresh.objects.create(
            club=club,
            approach=approach,
            finish_class=FinishClass.JUMP,
            first_changed_at=timezone.now(),
            **fields,
        )


def put_off(club: Club) -> PendingRefresh:
    now = timezone.now()
    return make_pending(
        club,
        failures=5,
        last_error="ZeroDivisionError",
        waiting_since=now - timedelta(minutes=7),
        next_try_at=now + timedelta(hours=1),
    )


def try_now(browser: Client, *pending: PendingRefresh):
    chosen = {"action": "try_now", "_selected_action": [str(each.pk) for each in pending]}
    return browser.post(reverse(LIST), chosen, follow=True)


def test_says_how_often_why_and_for_how_long(browser: Client, club: Club):
    put_off(club)

    page = browser.get(reverse(LIST)).content.decode()

    for words in ("failed", "ZeroDivisionError", "7\xa0minutes"):
        assert words in page


def test_tries_at_once_and_keeps_count_of_failures(browser: Client, club: Club):
    pending = put_off(club)
    woken: list[object] = []

    def note(series: object, **_kwargs: object) -> None:
        woken.append(series)

    attempts_changed.connect(note)
    try:
        answer = try_now(browser, pending)
    finally:
        attempts_changed.disconnect(note)

    with club_scope(club):
        pending.refresh_from_db()
        (entry,) = AuditEntry.objects.filter(action="refresh_hurried")
    assert "1 of 1 were put off" in answer.content.decode()
    assert pending.next_try_at <= timezone.now()
    assert pending.failures == 5
    assert woken == [[(pending.approach_id, "jump")]]
    assert entry.subject_ids == [pending.id]


def test_leaves_what_is_due_already_and_what_is_a_strangers(browser: Client, club: Club):
    due, theirs = make_pending(club), put_off(make_club())

    answer = try_now(browser, due)
    try_now(browser, theirs)

    assert "0 of 1 were put off" in answer.content.decode()
    with club_scope(theirs.club_id):
        theirs.refresh_from_db()
    assert theirs.next_try_at > timezone.now()
