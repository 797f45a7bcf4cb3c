"""Work off what was asked for: one question after the other, each once, whatever happens to us."""

import time
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from uuid import UUID

import msgspec
import structlog
from billiard.exceptions import SoftTimeLimitExceeded
from django.conf import settings
from django.db import connection
from django.db.models import F
from django.db.models.functions import Now

from analytics import selectors
from analytics.models import AskedWork, WorkFailure, WorkState
from analytics.services import backlog, heavy, working
from analytics.services.method import METHOD
from common import metrics
from common.club_scope import club_scope

logger = structlog.get_logger(__name__)

# A round takes no further question after this; the next round does. With the longest question it
# stays below the time limit of a task.
LONGEST_ROUND_S = 60.0
LONGEST_WORK_S = 120.0
# Between two reports of how far a question is.
REPORT_EVERY_S = 0.4
# Whose worker is lost so often is not tried again: it may be what kills them.
MOST_TAKEN_UP = 3
# How many questions are looked at to find one that nobody else has just taken.
LOOK_AT = 10
# The lock under which one worker at a time counts who is at work; any number of ours.
_TURN = 0x50656E756C74


class GaveWayError(Exception):
    """The question was called off, or another worker has it by now."""


class TookTooLongError(Exception):
    """The question took longer than any may."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A question that this worker has, until it says so no more."""

    club_id: UUID
    work_id: UUID
    number: int  # of the time that it was taken up: another number is another worker's
    kind: str
    asked: dict[str, Any]


class Report:
    """Tells readers how far a question is, and other workers that this one lives; not too often."""

    def __init__(self, taken: Taken) -> None:
        self._taken = taken
        self._begun = self._told = time.monotonic()

    def step(self, done: int, parts: int) -> None:
        """Note that `done` of `parts` are done.

        Raises
        ------
        GaveWayError
            Nobody waits for it any more, or somebody else is at it.
        TookTooLongError
            It took longer than any question may.
        """
        now = time.monotonic()
        if now - self._begun > LONGEST_WORK_S:
            raise TookTooLongError
        if now - self._told < REPORT_EVERY_S:
            return
        self._told = now
        with club_scope(self._taken.club_id):
            is_ours = _ours(self._taken).update(n_done=done, n_parts=parts, heard_at=Now())
        if not is_ours:
            raise GaveWayError


def do_due_work() -> int:
    """Work off what is due, clubs taking turns, and return how many questions that was.

    As many workers as `WORK_AT_ONCE` are at it; a further one finds no room, and leaves.
    """
    begun, done = time.monotonic(), 0
    while time.monotonic() - begun < LONGEST_ROUND_S:
        taken = _take_up_next()
        if taken is None:
            break
        _work_off(taken)
        done += 1
    return done


def _take_up_next() -> Taken | None:
    """Return the next question, taken up; None when there is none, or no room for another worker.

    Questions of a kind that this release does not know are left to a newer one.
    """
    due = selectors.list_due_work(
        kinds=heavy.KINDS, lease_s=settings.WORK_LEASE_SECONDS, at_most=LOOK_AT
    )
    for club_id, work_id in due:
        with club_scope(club_id):
            if not _is_there_room():
                return None
            taken = _take_up(club_id, work_id)
        if taken is not None:
            return taken
    return None


def _is_there_room() -> bool:
    """Tell whether one more question may be taken up, in a transaction that others wait for."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_TURN])
    return backlog.read_work_backlog().running < settings.WORK_AT_ONCE


def _take_up(club_id: UUID, work_id: UUID) -> Taken | None:
    """Take a question up, unless somebody was quicker, or it was the end of too many workers."""
    lease = timedelta(seconds=settings.WORK_LEASE_SECONDS)
    due = AskedWork.objects.filter(id=work_id).exclude(state__in=[WorkState.DONE, WorkState.FAILED])
    due = due.exclude(state=WorkState.RUNNING, heard_at__gte=Now() - lease)
    work = due.select_for_update(no_key=True, skip_locked=True).first()
    if work is None:
        return None
    if work.taken_up >= MOST_TAKEN_UP:
        logger.error("work_given_up", work=str(work_id), kind=work.kind)
        _fail(AskedWork.objects.filter(id=work_id), WorkFailure.LOST)
        return None
    AskedWork.objects.filter(id=work_id).update(
        state=WorkState.RUNNING,
        taken_up=F("taken_up") + 1,
        n_done=0,
        started_at=Now(),
        heard_at=Now(),
    )
    return Taken(club_id, work_id, work.taken_up + 1, work.kind, work.asked)


def _work_off(taken: Taken) -> None:
    """Answer a question, or say of it why not; nobody else's question suffers from it."""
    begun = time.monotonic()
    failure, error = WorkFailure.BROKEN, ""
    try:
        _answer(taken)
    except GaveWayError:
        logger.info("work_gave_way", work=str(taken.work_id), kind=taken.kind)
        state = "gave_way"
    except (TookTooLongError, SoftTimeLimitExceeded):
        logger.warning("work_took_too_long", work=str(taken.work_id), kind=taken.kind)
        state, failure = "failed", WorkFailure.TOOK_TOO_LONG
    except Exception as raised:  # whatever it was, the other questions go on
        logger.exception("work_failed", work=str(taken.work_id), kind=taken.kind)
        # The class only: a message could carry somebody's data.
        state, error = "failed", type(raised).__name__
    else:
        state = "done"
    if state == "failed":
        with club_scope(taken.club_id):
            _fail(_ours(taken), failure, error=error)
    metrics.work_seconds.labels(state).observe(time.monotonic() - begun)


def _answer(taken: Taken) -> None:
    how = heavy.KINDS[taken.kind]
    with club_scope(taken.club_id, read_only=True):
        rows = how.read(taken.asked)
    answer = how.work_out(rows, taken.asked, Report(taken).step)
    with club_scope(taken.club_id):
        work = _ours(taken).select_for_update(no_key=True).first()
        if work is None:
            raise GaveWayError
        # An attempt came between question and answer: who asks again asks about other attempts,
        # and must not be given this answer when that attempt is voided.
        is_same = working.same_question_of(work, rows) == bytes(work.same_question or b"")
        _ours(taken).update(
            state=WorkState.DONE,
            answer=msgspec.to_builtins(answer),
            method=METHOD,
            same_question=F("same_question") if is_same else None,
            n_done=F("n_parts"),
            finished_at=Now(),
        )


def _ours(taken: Taken) -> Any:
    """Return the row of a question as long as it is ours."""
    return AskedWork.objects.filter(
        id=taken.work_id, taken_up=taken.number, state=WorkState.RUNNING
    )


def _fail(work: Any, failure: WorkFailure, *, error: str = "") -> None:
    work.update(state=WorkState.FAILED, failure=failure, last_error=error, finished_at=Now())
