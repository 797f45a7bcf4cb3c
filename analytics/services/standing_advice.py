"""What is advised of a series after its last finished session, in few numbers.

Answers are worked out when they are asked for, which takes some hundredths of a second each.
Whoever looks over a whole squad reads these instead. They say no more than which answer there is
and by how much; its reasons are the answer's own.
"""

from collections.abc import Mapping
from datetime import date
from typing import Any

from analytics import selectors
from analytics.answers import mark_advice, practice_focus
from analytics.core.conventions import NotEnoughAttempts
from analytics.selectors import Body, RunUps, Series
from analytics.services.figures import as_json
from approaches.models import FinishClass

KEY = "advice"
"""Under which a state keeps them among its figures."""

# As many of the latest attempts as the answers look at unless they are asked for others.
LAST = 40


def kept(figures: Mapping[str, Any]) -> dict[str, Any]:
    """Return what was worked out before, while a session goes on."""
    return {KEY: figures[KEY]} if KEY in figures else {}


def work_out(series: Series, *, today: date) -> dict[str, Any]:
    """Return what is advised today, ready to be stored; nothing for run-throughs."""
    if series.finish_class is not FinishClass.JUMP:
        return {}
    run_ups = selectors.read_run_ups(series, last=LAST)
    if not len(run_ups):
        return {KEY: None}
    body = selectors.read_body(series.approach_id, today=today)
    return {
        KEY: {
            "through_attempt": str(run_ups.ids[-1]),
            "plan": None if run_ups.marks_now is None else str(run_ups.marks_now.id),
            "mark": _mark(run_ups, body),
            "focus": _focus(run_ups, body),
        }
    }


def _mark(run_ups: RunUps, body: Body) -> dict[str, Any] | None:
    advice = mark_advice.work_out(run_ups, body=body).advice
    if isinstance(advice, NotEnoughAttempts):
        return None
    place = advice.board if advice.check is None else advice.check
    numbers = {
        "n": place.n,
        "move_m": advice.move_m,
        "start_mark_m": advice.start_mark_m,
        "mean_m": place.mean_m,
        "low_m": place.interval.low,
        "high_m": place.interval.high,
        "probability_off": place.probability_off,
    }
    return {
        "answer": advice.answer.value,
        "place": "board" if advice.check is None else "check_mark",
        **{name: as_json(value) for name, value in numbers.items()},
    }


def _focus(run_ups: RunUps, body: Body) -> dict[str, Any] | None:
    """Return the trouble to see to first; None where nothing is shown, or too little is known."""
    found = practice_focus.diagnose(run_ups, body=body).diagnosis
    if isinstance(found, NotEnoughAttempts) or found.main is None:
        return None
    finding: dict[str, Any] = as_json(found.findings[0])
    return {"n": found.n, **finding}
