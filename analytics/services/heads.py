"""What an answer about run-ups rests on: it stands at the head of each."""

from typing import Any

from analytics.selectors import RunUps
from analytics.services.method import METHOD


def head_of(run_ups: RunUps) -> dict[str, Any]:
    """Return what every answer about one series begins with."""
    return {
        "approach": run_ups.series.approach_id,
        "finish": run_ups.series.finish_class.value,
        "as_of": max(run_ups.changed_at, default=None),
        "through_attempt": run_ups.ids[-1] if run_ups.ids else None,
        "n": len(run_ups),
        "stale": False,
        "method": METHOD,
        "window": window_of(run_ups),
    }


def window_of(run_ups: RunUps) -> dict[str, Any] | None:
    """Return which attempts an answer was worked out from; None when there is none."""
    if not run_ups.ids:
        return None
    return {
        "n": len(run_ups),
        "n_sessions": len(set(run_ups.session_ids)),
        "first_attempt": run_ups.ids[0],
        "last_attempt": run_ups.ids[-1],
        "first_started_at": run_ups.started_at[0],
        "last_started_at": run_ups.started_at[-1],
        "plan_revision": int(run_ups.revisions[-1]) or None,
        "aim_m": float(run_ups.aim_m[-1]),
    }
