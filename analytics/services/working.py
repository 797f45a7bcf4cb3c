"""Ask for what takes longer than a request may, call it off, try it again, forget it."""

import hashlib
import json
from collections.abc import Collection, Hashable, Iterable
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models.functions import Now
from django.utils import timezone

from analytics.errors import AskedByOthersError, TooMuchWorkError
from analytics.models import AskedWork, WorkKind, WorkState
from analytics.services import heavy
from analytics.services.method import METHOD
from clubs import selectors as club_selectors
from clubs.models import Club, Role
from clubs.selectors import Caller
from clubs.services import auditing
from common import waker
from common.club_scope import club_scope

# Longer than any answer takes to be read, and short enough that none goes on about somebody who is
# long gone from the club.
KEPT_FOR = timedelta(days=7)
# A club's questions that may wait at once. It keeps a script that runs wild from filling the table;
# of two that ask at the same moment both may be let in, which does no harm.
MOST_WAITING = 20
# Of which one member's: a single log-in cannot keep everybody else's questions out.
MOST_WAITING_OF_ONE = 10

TASK = "analytics.do_due_work"


def ask(
    *,
    club: Club,
    kind: WorkKind,
    asked: dict[str, Any],
    athlete_ids: Collection[UUID],
    caller: Caller,
) -> AskedWork:
    """Ask for work, and return it: what was asked already and still holds, is not done again.

    `asked` is plain JSON with everything that the kind needs. Whoever asks must have been found to
    be allowed to see each of `athlete_ids`, and the question may be about nobody else. A question
    that failed is tried again.

    Raises
    ------
    NotFoundError
        What is asked about is not there.
    TooMuchWorkError
        As much as may wait for the club, or for one of its members, waits already.
    """
    how = heavy.KINDS[kind]
    with club_scope(club):
        same_question = _fingerprint(kind, asked, how.key_of(how.read(asked)))
        work = _find_locked(same_question)
        if work is None:
            _check_for_room(caller)
            AskedWork.objects.bulk_create(
                [
                    AskedWork(
                        club=club,
                        kind=kind,
                        asked=asked,
                        athlete_ids=sorted(set(athlete_ids)),
                        same_question=same_question,
                        asked_by_id=caller.membership_id,
                        forget_at=timezone.now() + KEPT_FOR,
                        method=METHOD,
                    )
                ],
                ignore_conflicts=True,  # of two who ask the same at once, one is first
            )
            work = AskedWork.objects.get(same_question=same_question)
        else:
            if work.state == WorkState.FAILED:
                _check_for_room(caller)
                _put_back(work)
            _note_who_asked(work, caller)
        if not work.is_over:
            transaction.on_commit(wake_worker)
        return work


def same_question_of(work: AskedWork, rows: Any) -> bytes:
    """Return under what a question is found again, as its rows are by now."""
    how = heavy.KINDS[work.kind]
    return _fingerprint(work.kind, work.asked, how.key_of(rows))


def wake_worker() -> None:
    """Have some worker look for work soon; without a broker the next sweep does."""
    waker.wake(TASK)


def call_off(*, club: Club, work_id: UUID, caller: Caller) -> None:
    """Forget a work, whatever became of it: who works on it notices, and stops.

    Raises
    ------
    AskedByOthersError
        The caller is no admin, and somebody else asked it, or asked it too: an athlete, say, may
        read what the coach asked about them, and may not take it away.
    """
    with club_scope(club):
        work = AskedWork.objects.select_for_update().filter(id=work_id).first()
        if work is None:
            return
        if caller.role != Role.ADMIN and work.asked_by_id != caller.membership_id:
            raise AskedByOthersError
        work.delete()


def try_again(*, club: Club, work_ids: Iterable[UUID], caller: Caller) -> int:
    """Put failed work back in the queue; return how much of it had failed."""
    with club_scope(club):
        failed = list(
            AskedWork.objects.select_for_update(no_key=True)
            .filter(id__in=list(work_ids), state=WorkState.FAILED)
            .order_by("id")
        )
        if not failed:
            return 0
        for work in failed:
            _put_back(work)
        auditing.record_audit(
            club=club,
            caller=caller,
            action="work_tried_again",
            subjects={"asked_work": [work.id for work in failed]},
        )
        transaction.on_commit(wake_worker)
        return len(failed)


def forget_old_work() -> int:
    """Delete every club's work whose time is over, with its answers; return how much."""
    forgotten = 0
    for club_id in club_selectors.list_club_ids():
        with club_scope(club_id):
            forgotten += AskedWork.objects.filter(forget_at__lte=timezone.now()).delete()[0]
    return forgotten


def forget_about(*, club: Club, athlete_id: UUID) -> int:
    """Delete all work that is about an athlete, with its answers; return how much.

    For whoever erases the athlete, or takes back that the athlete's records may be used: an answer
    about a squad goes, too, since nobody can take one athlete out of it.
    """
    with club_scope(club):
        about = AskedWork.objects.filter(athlete_ids__contains=[athlete_id])
        return about.delete()[0]


def _find_locked(same_question: bytes) -> AskedWork | None:
    """Return the work for a question, locked: its worker and others who ask wait for us here."""
    found = AskedWork.objects.select_for_update(no_key=True).filter(same_question=same_question)
    return found.first()


def _note_who_asked(work: AskedWork, caller: Caller) -> None:
    """Have a question that several asked belong to none of them."""
    if work.asked_by_id not in {None, caller.membership_id}:
        AskedWork.objects.filter(id=work.id).update(asked_by=None)
        work.asked_by_id = None


def _check_for_room(caller: Caller) -> None:
    unfinished = AskedWork.objects.filter(state__in=(WorkState.WAITING, WorkState.RUNNING))
    by_whom = list(unfinished.values_list("asked_by_id", flat=True))
    own = sum(each == caller.membership_id for each in by_whom)
    if len(by_whom) >= MOST_WAITING or own >= MOST_WAITING_OF_ONE:
        raise TooMuchWorkError


def _put_back(work: AskedWork) -> None:
    """Let a failed work wait for a worker again, as if it had been asked just now."""
    AskedWork.objects.filter(id=work.id).update(
        state=WorkState.WAITING,
        asked_at=Now(),
        taken_up=0,
        n_done=0,
        failure="",
        last_error="",
        finished_at=None,
        forget_at=timezone.now() + KEPT_FOR,
    )
    work.refresh_from_db()


def _fingerprint(kind: str, asked: dict[str, Any], key: Hashable) -> bytes:
    """Return what is equal when and only when kind, question, method and rows are."""
    question = json.dumps(asked, sort_keys=True)
    return hashlib.sha256(repr((str(kind), METHOD, question, key)).encode()).digest()
