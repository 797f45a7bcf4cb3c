"""Bring the figures of a series up to date with its attempts."""

from dataclasses import fields
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import structlog
from django.db import transaction
from django.db.models.functions import Now
from django.utils import timezone

from analytics import selectors
from analytics.core import rolling, rolling_run_up
from analytics.core.rolling_run_up import RollingRunUp
from analytics.models import SeriesPoint, SeriesState
from analytics.selectors import LastMetres, Series, SeriesAttempts
from analytics.services import alerting, figures, judging, standing_advice
from analytics.services.method import METHOD
from approaches.models import FinishClass, PendingRefresh
from clubs.models import Club
from common import metrics
from common.club_scope import club_scope

logger = structlog.get_logger(__name__)

LONGEST_BACK_OFF_S = 3600
MOST_DOUBLINGS = 12


def refresh_series(
    *,
    club_id: UUID,
    approach_id: UUID,
    finish_class: str,
    now: datetime | None = None,
    whole: bool = False,
) -> bool:
    """Compute what changed in a series since the last time; return whether there was anything.

    One transaction, that may run twice, late, or beside itself. With `whole`, or when the stored
    figures were made with another method, everything is made anew from the attempts; when the
    club's alert rules are others, every session is judged anew. A failure
    pushes the series ahead with a growing delay and stops no other.
    """
    series = Series(approach_id, FinishClass(finish_class))
    now = now or timezone.now()
    try:
        with metrics.refresh_seconds.time(), club_scope(club_id):
            return _refresh(Club.objects.get(id=club_id), series, now=now, whole=whole)
    except Exception as error:  # whatever it was, the other series go on
        logger.exception("refresh_failed", approach=str(approach_id), finish_class=finish_class)
        metrics.refresh_failures.inc()
        with club_scope(club_id):
            _put_off(club_id, series, error, now=now)
        return False


def _refresh(club: Club, series: Series, *, now: datetime, whole: bool) -> bool:
    state = _lock_state(club, series)
    pending = PendingRefresh.objects.filter(
        approach_id=series.approach_id, finish_class=series.finish_class
    ).first()
    whole = whole or state.method != METHOD
    # After the lock: whoever changes a rule from now on finds this series judged by the old ones.
    rules = judging.rules_of_club()
    rules_changed = state.rules_stamp != rules.stamp
    if pending is not None and pending.failures and pending.next_try_at > now and not whole:
        return False  # put off; a push meanwhile does not bring it forward
    is_due = state.judge_due_at is not None and state.judge_due_at <= now
    if not (whole or pending or is_due or rules_changed):
        return False

    changed_since = None if whole or pending is None else pending.first_changed_at
    if whole or pending is not None:
        _renew_points(club, series, state, since=changed_since)
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
    if pending is not None:
        _take_off(pending)
    for alert in opened:
        transaction.on_commit(metrics.alerts_opened.labels(alert.kind).inc)
    return True


def _take_off(pending: PendingRefresh) -> None:
    """Delete the pending row, unless a push raised its revision in the meantime.

    Then the row stays, and so does its work, which waits since now only.
    """
    row = PendingRefresh.objects.filter(id=pending.id)
    deleted, _ = row.filter(revision=pending.revision).delete()
    if not deleted:
        row.update(waiting_since=Now(), next_try_at=Now(), failures=0, last_error="")


def _lock_state(club: Club, series: Series) -> SeriesState:
    """Return the state of the series, locked: refreshes of one series wait for each other here.

    It is locked before the pending row is read, so that the second of two refreshes reads what
    the first one left.
    """
    known = {"approach_id": series.approach_id, "finish_class": series.finish_class}
    SeriesState.objects.bulk_create(
        [SeriesState(club=club, method=METHOD, **known)], ignore_conflicts=True
    )
    return SeriesState.objects.select_for_update(no_key=True).get(**known)


def _renew_points(
    club: Club, series: Series, state: SeriesState, *, since: datetime | None
) -> None:
    """Make the points of every attempt from `since` on anew; None means all."""
    attempts, last_metres = selectors.read_series_with_last_metres(
        series, since=since, before_that=figures.WINDOW - 1
    )
    start = 0
    if since is not None:
        start = next(
            (place for place, at in enumerate(attempts.started_at) if at >= since), len(attempts)
        )
    old = SeriesPoint.objects.filter(
        approach_id=series.approach_id, finish_class=series.finish_class
    )
    removed, _ = (old if since is None else old.filter(started_at__gte=since)).delete()
    points = _points(club, series, attempts, last_metres, start)
    SeriesPoint.objects.bulk_create(points, batch_size=1000)
    state.n_attempts = len(points) + (0 if since is None else state.n_attempts - removed)
    state.through_attempt_id = attempts.ids[-1] if attempts.ids else None


def _points(
    club: Club, series: Series, attempts: SeriesAttempts, last_metres: LastMetres, start: int
) -> list[SeriesPoint]:
    moved = rolling.rolling_figures(
        attempts.board_toe_m,
        attempts.no_jump,
        aim_m=attempts.aim_m,
        revision=attempts.revisions,
        window=figures.WINDOW,
    )
    run_up = _run_up_columns(
        rolling_run_up.rolling_run_up(
            last_metres.toe_m,
            last_metres.touchdown_s,
            last_metres.gate_at_m,
            last_metres.gate_time_s,
            revision=attempts.revisions,
            window=figures.WINDOW,
        )
    )
    return [
        SeriesPoint(
            club=club,
            approach_id=series.approach_id,
            finish_class=series.finish_class,
            attempt_id=attempts.ids[place],
            started_at=attempts.started_at[place],
            plan_revision=int(attempts.revisions[place]) or None,
            n=int(moved.n[place]),
            n_measured=int(moved.n_measured[place]),
            n_no_jumps=int(moved.n_no_jumps[place]),
            n_on_board=int(moved.n_on_board[place]),
            toe_m=figures.as_json(float(attempts.board_toe_m[place])),
            no_jump=bool(attempts.no_jump[place] or attempts.board_toe_m[place] < 0),
            bias_m=figures.as_json(float(moved.bias_m[place])),
            bias_low_m=figures.as_json(float(moved.bias_low_m[place])),
            bias_high_m=figures.as_json(float(moved.bias_high_m[place])),
            spread_m=figures.as_json(float(moved.sd_m[place])),
            spread_low_m=figures.as_json(float(moved.sd_low_m[place])),
            spread_high_m=figures.as_json(float(moved.sd_high_m[place])),
            share_on_board=figures.as_json(float(moved.share_on_board[place])),
            share_no_jump=figures.as_json(float(moved.share_no_jump[place])),
            **{name: column[place] for name, column in run_up.items()},
        )
        for place in range(start, len(attempts))
    ]


def _run_up_columns(moved: RollingRunUp) -> dict[str, list[Any]]:
    """Return, by the names that points have for them too, one value for each attempt."""
    return {
        field.name: figures.as_json(getattr(moved, field.name)) for field in fields(RollingRunUp)
    }


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
