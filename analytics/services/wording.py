"""Alerts in plain words: what was found, since when, how sure, how often by mere chance.

The words say what the numbers say and no more. What to do about it is the coach's decision; good
news in particular is no advice to run faster or to jump more.
"""

from collections.abc import Callable, Mapping
from typing import Any

from analytics.core.alert_settings import Kind

Evidence = Mapping[str, Any]


def describe_alert(kind: str, evidence: Evidence) -> str:
    """Return a few sentences about an alert, from its evidence alone."""
    return _WORDS[Kind(kind)](evidence)


def _level(found: Evidence) -> str:
    side = "short of" if found["side"] == "short" else "beyond"
    return (
        f"Lands about {_centimetres(abs(found['level_m']))} {side} the aim of "
        f"{_centimetres(found['aim_m'])} behind the line, {_since(found)} "
        f"The level chart stands at {found['value']:.2f}, its limit is {found['limit']:.2f} to "
        f"either side. {_chance(found)}"
    )


def _spread(found: Evidence) -> str:
    return (
        f"Spreads by about {_centimetres(found['spread_m'])} at the board within a session, "
        f"usual were {_centimetres(found['usual_spread_m'])}, {_since(found)} "
        f"The spread chart stands at {found['value']:.2f}, its limit is {found['limit']:.2f}. "
        f"{_chance(found)}"
    )


def _no_jump_share(found: Evidence) -> str:
    return (
        f"{found['n_no_jumps']} of the last {found['n']} attempts were no jumps: "
        f"{found['value']:.0%}, at {found['level']:.0%} confidence between {found['low']:.0%} and "
        f"{found['high']:.0%}, all above the limit of {found['limit']:.0%}. An athlete whose true "
        f"share is the limit would be told so in {found['false_alarms_per_look']:.1%} of looks."
    )


def _progress(found: Evidence) -> str:
    return (
        f"Spreads less at the board than before: {_centimetres(found['spread_after_m'])} over the "
        f"last {found['n_after']} attempts, {_centimetres(found['spread_before_m'])} over the "
        f"{found['n_before']} before them, {_running(found)}. The ratio is "
        f"{found['ratio']:.2f}, between {found['ratio_low']:.2f} and {found['ratio_high']:.2f}; "
        f"a lower spread is {found['value']:.1%} sure. {_chance(found)} "
        "It says nothing about speed or load."
    )


_WORDS: Mapping[Kind, Callable[[Evidence], str]] = {
    Kind.LEVEL: _level,
    Kind.SPREAD: _spread,
    Kind.NO_JUMP_SHARE: _no_jump_share,
    Kind.PROGRESS: _progress,
}


def _centimetres(metres: float) -> str:
    return f"{100 * metres:.0f} cm"


def _since(found: Evidence) -> str:
    return (
        f"since session {found['since_session_point']} of the {found['n_session_points']} after "
        f"the baseline ({found['n_baseline_attempts']} attempts in "
        f"{found['n_baseline_sessions']} sessions)."
    )


def _running(found: Evidence) -> str:
    # Evidence of the first method does not say it; two was the number then.
    sessions = found.get("n_sessions_running", 2)
    return "in one judged session" if sessions == 1 else f"{sessions} judged sessions running"


def _chance(found: Evidence) -> str:
    if found["false_alarms_per_session"] is None:
        return "How often it comes by mere chance is not known for the club's own thresholds."
    sessions = round(1 / found["false_alarms_per_session"])
    return f"By mere chance such an alert comes at most about once in {sessions} sessions."
