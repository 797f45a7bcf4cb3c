"""Questions that a worker answers: whom they are about, why one failed, and tried again."""

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.html import strip_tags

from analytics.models import AskedWork, WorkFailure, WorkState
from clubs.models import AuditEntry, Club
from common import waker
from common.club_scope import club_scope
from tests.factories import make_athlete, make_club, make_work

pytestmark = pytest.mark.django_db(transaction=True)

LIST = "admin:analytics_askedwork_changelist"


def failed(club: Club) -> AskedWork:
    return make_work(
        make_athlete(club),
        state=WorkState.FAILED,
        failure=WorkFailure.BROKEN,
        last_error="ZeroDivisionError",
        taken_up=2,
    )


def try_again(browser: Client, *work: AskedWork):
    chosen = {"action": "try_again", "_selected_action": [str(each.pk) for each in work]}
    return browser.post(reverse(LIST), chosen, follow=True)


def test_says_what_whom_and_why(browser: Client, club: Club):
    athletes = [make_athlete(club, family_name=f"Berg {number}") for number in range(7)]
    make_work(*athletes, state=WorkState.RUNNING, n_done=3, n_parts=7)
    failed(club)

    page = browser.get(reverse(LIST)).content.decode()

    text = " ".join(strip_tags(page).split())
    for words in ("What if", "is being worked out", "3 of 7", "ZeroDivisionError", "and 2 more"):
        assert words in text
    assert "Berg 0" in text


def test_shows_the_question_and_no_answer(browser: Client, club: Club):
    work = make_work(make_athlete(club), state=WorkState.DONE, answer={"secret": "figure"})

    page = browser.get(reverse("admin:analytics_askedwork_change", args=[work.pk])).content.decode()

    assert "move_mark_m" in page
    assert "secret" not in page


def test_tries_again_what_failed_and_notes_who_did(
    browser: Client, club: Club, monkeypatch: pytest.MonkeyPatch
):
    bad, waiting = failed(club), make_work(make_athlete(club))
    woken: list[str] = []
    monkeypatch.setattr(waker, "wake", lambda task, **_ids: woken.append(task))

    answer = try_again(browser, bad, waiting)

    with club_scope(club):
        bad.refresh_from_db()
        (entry,) = AuditEntry.objects.filter(action="work_tried_again")
    assert "1 of 2 had failed" in answer.content.decode()
    assert (bad.state, bad.failure, bad.taken_up) == (WorkState.WAITING, "", 0)
    assert entry.subject_ids == [bad.id]
    assert woken == ["analytics.do_due_work"]


def test_leaves_what_waits_and_what_is_a_strangers(browser: Client, club: Club):
    waiting, theirs = make_work(make_athlete(club)), failed(make_club())

    answer = try_again(browser, waiting)
    try_again(browser, theirs)

    assert "0 of 1 had failed" in answer.content.decode()
    with club_scope(theirs.club_id):
        theirs.refresh_from_db()
    assert theirs.state == WorkState.FAILED
