"""What the latest run-ups let one expect of the next ones."""

from uuid import UUID

import numpy as np

from analytics.core import next_attempts
from analytics.core.conventions import FloatArray, NotEnoughAttempts
from analytics.core.next_attempts import NextAttempts
from analytics.selectors import RunUps


def expected_toe(run_ups: RunUps, *, session: UUID | None) -> NextAttempts | NotEnoughAttempts:
    """Return what to expect of the next toe, in a session that goes on or in a new one."""
    return next_attempts.expect_toe(
        run_ups.board_toe_m,
        run_ups.no_jump,
        session=run_ups.session_labels,
        session_now=label_of(run_ups, session),
        revision=run_ups.revisions,
    )


def expected_distance(run_ups: RunUps, *, session: UUID | None) -> NextAttempts | NotEnoughAttempts:
    """Return what to expect of the next effective distance.

    Of full jumps only: a pop-up is not meant to go far.
    """
    return next_attempts.expect_distance(
        effective_m(run_ups),
        session=run_ups.session_labels,
        session_now=label_of(run_ups, session),
    )


def effective_m(run_ups: RunUps) -> FloatArray:
    """Return official plus toe-to-board distance of full jumps, NaN where one is not known."""
    effective = run_ups.official_m + run_ups.board_toe_m
    counts = run_ups.is_jump & (run_ups.official_m > 0) & (run_ups.board_toe_m >= 0)
    return np.where(counts, effective, np.nan)


def label_of(run_ups: RunUps, session: UUID | None) -> int | None:
    """Return the label of a session among the attempts; None for one without attempts yet."""
    if session is None or session not in run_ups.session_ids:
        return None
    return int(run_ups.session_labels[run_ups.session_ids.index(session)])


def mark_was_moved(run_ups: RunUps) -> bool:
    """Tell whether the plan of this moment has another start mark than the last attempt had."""
    now, latest = run_ups.marks_now, run_ups.latest_marks()
    return now is not None and latest is not None and now.start_mark_m != latest.start_mark_m
