"""Bring the figures of a series up to date with its attempts."""

import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from datetime import datetime, timedelta
from enum import Enum, auto
from uuid import UUID
from zoneinfo import ZoneInfo

import psycopg
import structlog
from django.db import OperationalError, connection, transaction
from django.db.models.functions import Now
from django.utils import timezone

from analytics.models import SeriesState
from analytics.selectors import Series
from analytics.services import alerting, figures, judging, points, standing_advice
from analytics.services.method import METHOD
from approaches.models import FinishClass, PendingRefresh
from clubs.models import Club
from common import metrics
from common.club_scope import club_scope

logger = structlog.get_logger(__name__)

LONGEST_BACK_OFF_S = 3600
MOST_DOUBLINGS = 12
# As a rule a refresh takes some hundredths of a second, and another one of its series waits for it.
# One of thousands of attempts takes many seconds: without a limit each message for its series would
# bind one more worker process meanwhile, and every other series would wait, too.
LONGEST_WAIT_S = 0.25
# PostgreSQL knows no shorter limit for a lock.
NO_WAIT_S = 0.001
# So often a long refresh looks again for those who did not wait for it; then the sweep does.
MOST_ROUNDS = 3


class TakenError(Exception):
    """Another worker is at the series, and will be for a while."""


class _Round(Enum):
    """How one refresh ended."""

    NOTHING_TO_DO = auto()
    DONE = auto()
    OVERTAKEN = auto()  # done, and pushed for again in the meantime


def refresh_series(
    *,
    club_id: UUID,
    approach_id: UUID,
    finish_class: str,
    now: datetime | None = None,
    whole: bool = False,
    longest_wait_s: float | None = None,
) -> bool:
    """Compute what changed in a series since the last time; return whether there was anything.

    One transaction, that may run twice, late, or beside itself. With `whole`, or when the stored
    figures were made with another method, everything is made anew from the attempts; when the
    club's alert rules are others, every session is judged anew. A failure
    pushes the series ahead with a growing delay and stops no other.

    A series that another worker is at for longer than `longest_wait_s`, `LONGEST_WAIT_S` unless
    given, is left to that one, which looks again when it was pushed for meanwhile. With `whole` it
    is waited for.
    """
    series = Series(approach_id, FinishClass(finish_class))
    wait_s = LONGEST_WAIT_S if longest_wait_s is None else longest_wait_s
    done = False
    for _ in range(MOST_ROUNDS):
        at = now or timezone.now()
        begun = time.monotonic()
        try:
            with metrics.refresh_seconds.time(), club_scope(club_id):
                club = Club.objects.get(id=club_id)
                state = _lock_state(club, series, longest_wait_s=None if whole else wait_s)
                ended = _refresh(club, series, state, now=at, whole=whole)
        except TakenError:
            break
        except Exception as error:  # whatever it was, the other series go on
            logger.exception("refresh_failed", approach=str(approach_id), finish_class=finish_class)
            metrics.refresh_failures.inc()
            with club_scope(club_id):
                _put_off(club_id, series, error, now=at)
            break
        done = done or ended is not _Round.NOTHING_TO_DO
        if ended is not _Round.OVERTAKEN or time.monotonic() - begun < LONGEST_WAIT_S:
            break  # whoever pushed meanwhile has waited, and goes on from here
        whole = False
    return done


def _refresh(
    club: Club, series: Series, state: SeriesState, *, now: datetime, whole: bool
) -> _Round:
    pending = PendingRefresh.objects.filter(
        approach_id=series.approach_id, finish_class=series.finish_class
    ).first()
    whole = whole or state.method != METHOD
    # After the lock: whoever changes a rule from now on finds this series judged by the old ones.
    rules = judging.rules_of_club()
    rules_changed = state.rules_stamp != rules.stamp
    if pending is not None and pending.failures and pending.next_try_at > now and not whole:
        return _Round.NOTHING_TO_DO  # put off; a push meanwhile does not bring it forward
    is_due = state.judge_due_at is not None and state.judge_due_at <= now
    if not (whole or pending or is_due or rules_changed):
        return _Round.NOTHING_TO_DO

    changed_since = None if whole or pending is None else pending.first_changed_at
    if whole or pending is not None:
        points.renew_points(club, series, state, since=changed_since)
        state.figures = figures.latest_figures(series) | standing_advice.kept(state.figures)
    if whole or rules_changed:
        judge_since = None
    elif changed_since is None:
        judge_since = state.unjudged_since
    else:
        judge_since = min(changed_since, state.unjudged_since or changed_since)
    waiting = judging.find_open_session(club=club, series=series, since=judge_since, now=now)
    opened = []
    if waiting is None:
        judged = judging.judge_sessions(
            club=club, series=series, rules=rules, since=judge_since, now=now
        )
        opened = alerting.reconcile_alerts(
            club=club,
            series=series,
            judged=judged,
            active=rules.active,
            ground_lost_by=alerting.RULES_CHANGED if rules_changed else alerting.FIGURES_CHANGED,
            now=now,
        )
        state.unjudged_since, state.judge_due_at = judged.unjudged_since, judged.due_at
        today = now.astimezone(ZoneInfo(club.time_zone)).date()
        state.figures |= standing_advice.work_out(series, today=today)
    else:
        state.unjudged_since, state.judge_due_at = waiting.unjudged_since, waiting.due_at
    state.method = METHOD
    state.rules_stamp = rules.stamp
    state.revision += 1
    state.computed_at = now
    state.save()
    was_overtaken = pending is not None and not _take_off(pending)
    for alert in opened:
        transaction.on_commit(metrics.alerts_opened.labels(alert.kind).inc)
    return _Round.OVERTAKEN if was_overtaken else _Round.DONE


def _take_off(pending: PendingRefresh) -> bool:
    """Delete the pending row, unless a push raised its revision in the meantime.

    Then the row stays, and so does its work, which waits since now only. Return whether it is gone.
    """
    row = PendingRefresh.objects.filter(id=pending.id)
    deleted, _ = row.filter(revision=pending.revision).delete()
    if not deleted:
        row.update(waiting_since=Now(), next_try_at=Now(), failures=0, last_error="")
    return bool(deleted)


def _lock_state(club: Club, series: Series, *, longest_wait_s: float | None) -> SeriesState:
    """Return the state of the series, locked: refreshes of one series wait for each other here.

    It is locked before the pending row is read, so that the second of two refreshes reads what
    the first one left.

    Raises
    ------
    TakenError
        Another refresh has it, and will for longer than that; with None it is waited for.
    """
    known = {"approach_id": series.approach_id, "finish_class": series.finish_class}
    with nullcontext() if longest_wait_s is None else _impatience(longest_wait_s):
        # Who makes the row is waited for as well as who has locked it.
        SeriesState.objects.bulk_create(
            [SeriesState(club=club, method=METHOD, **known)], ignore_conflicts=True
        )
        return SeriesState.objects.select_for_update(no_key=True).get(**known)


@contextmanager
def _impatience(longest_wait_s: float) -> Iterator[None]:
    """Give up on locks after a moment, within the block only: a push may hold others for longer."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('lock_timeout', %s, true)", [f"{longest_wait_s:.3f}s"])
    try:
        yield
    except OperationalError as error:
        if isinstance(error.__cause__, psycopg.errors.LockNotAvailable):
            raise TakenError from error
        raise
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL lock_timeout TO DEFAULT")


def _put_off(club_id: UUID, series: Series, error: Exception, *, now: datetime) -> None:
    """Push a series that cannot be computed ahead, twice as far each time."""
    # One that was due for another reason than a push has no row yet; it gets one that is seen.
    PendingRefresh.objects.bulk_create(
        [
            PendingRefresh(
                club_id=club_id,
                approach_id=series.approach_id,
                finish_class=series.finish_class,
                first_changed_at=now,
            )
        ],
        ignore_conflicts=True,
    )
    pending = PendingRefresh.objects.select_for_update(no_key=True).get(
        approach_id=series.approach_id, finish_class=series.finish_class
    )
    pending.failures += 1
    wait_s = min(2 ** min(pending.failures, MOST_DOUBLINGS), LONGEST_BACK_OFF_S)
    pending.next_try_at = now + timedelta(seconds=wait_s)
    # The class only: a message could carry somebody's data.
    pending.last_error = type(error).__name__
    pending.save(update_fields=["failures", "next_try_at", "last_error"])
