"""Alerts in plain words: what was found, then since when, how sure, how often by mere chance.

The words say what the numbers say and no more. What to do about it is the coach's decision; good
news in particular is no advice to run faster or to jump more.

What was found is the evidence of the moment at which the alert opened. It stands in these words
wherever an alert is told of: on the pages, in the overview, in a season's report, over the API.
"""

from collections.abc import Callable, Mapping
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from analytics.answers import words
from analytics.core.alert_settings import Kind

Evidence = Mapping[str, Any]


def say_found(kind: str, evidence: Evidence) -> str:
    """Say in one sentence what was found; that of good news says what it is not, too."""
    return _FOUND[Kind(kind)](evidence)


def say_ground(kind: str, evidence: Evidence) -> str:
    """Say since when, how far beyond which limit, and how often it would be wrong."""
    return _GROUND[Kind(kind)](evidence)


def describe(kind: str, evidence: Evidence) -> str:
    """Return a few sentences about an alert, from its evidence alone."""
    return f"{say_found(kind, evidence)} {say_ground(kind, evidence)}"


def _level(found: Evidence) -> str:
    text = (
        _("Lands about {size} short of the aim of {aim} behind the line.")
        if found["side"] == "short"
        else _("Lands about {size} beyond the aim of {aim} behind the line.")
    )
    return text.format(
        size=words.centimetres(found["level_m"]), aim=words.centimetres(found["aim_m"])
    )


def _spread(found: Evidence) -> str:
    return _("Spreads by about {spread} at the board within a session; usual were {usual}.").format(
        spread=words.centimetres(found["spread_m"]),
        usual=words.centimetres(found["usual_spread_m"]),
    )


def _no_jumps(found: Evidence) -> str:
    return ngettext(
        "{no_jumps} of the last {n} attempts was a no jump.",
        "{no_jumps} of the last {n} attempts were no jumps.",
        found["n_no_jumps"],
    ).format(no_jumps=words.number(found["n_no_jumps"]), n=words.number(found["n"]))


def _progress(found: Evidence) -> str:
    return _(
        "Good news: spreads by {after} at the board over the last {n_after} attempts, by {before} "
        "over the {n_before} before them. It says nothing about speed or load."
    ).format(
        after=words.centimetres(found["spread_after_m"]),
        n_after=words.number(found["n_after"]),
        before=words.centimetres(found["spread_before_m"]),
        n_before=words.number(found["n_before"]),
    )


_FOUND: Mapping[Kind, Callable[[Evidence], str]] = {
    Kind.LEVEL: _level,
    Kind.SPREAD: _spread,
    Kind.NO_JUMP_SHARE: _no_jumps,
    Kind.PROGRESS: _progress,
}


def _level_ground(found: Evidence) -> str:
    chart = _("The level chart stands at {value}, its limit is {limit} to either side.").format(
        value=words.number(found["value"], 2), limit=words.number(found["limit"], 2)
    )
    return f"{_since(found)} {chart} {_chance(found)}"


def _spread_ground(found: Evidence) -> str:
    chart = _("The spread chart stands at {value}, its limit is {limit}.").format(
        value=words.number(found["value"], 2), limit=words.number(found["limit"], 2)
    )
    return f"{_since(found)} {chart} {_chance(found)}"


def _no_jumps_ground(found: Evidence) -> str:
    return _(
        "That is {share}, at {level} confidence between {low} and {high}, all above the limit of "
        "{limit}. An athlete whose true share is the limit would be told so in {chance} of looks."
    ).format(
        share=words.percent(found["value"]),
        level=words.percent(found["level"]),
        low=words.percent(found["low"]),
        high=words.percent(found["high"]),
        limit=words.percent(found["limit"]),
        chance=_tenths(found["false_alarms_per_look"]),
    )


def _progress_ground(found: Evidence) -> str:
    # Evidence of the first method does not say how many; two was the number then.
    sessions = found.get("n_sessions_running", 2)
    running = ngettext(
        "A lower spread was shown in {n} judged session.",
        "A lower spread was shown in {n} judged sessions running.",
        sessions,
    ).format(n=words.number(sessions))
    ratio = _(
        "The ratio is {ratio}, between {low} and {high}; that it is lower is {sure} sure."
    ).format(
        ratio=words.number(found["ratio"], 2),
        low=words.number(found["ratio_low"], 2),
        high=words.number(found["ratio_high"], 2),
        sure=_tenths(found["value"]),
    )
    return f"{running} {ratio} {_chance(found)}"


_GROUND: Mapping[Kind, Callable[[Evidence], str]] = {
    Kind.LEVEL: _level_ground,
    Kind.SPREAD: _spread_ground,
    Kind.NO_JUMP_SHARE: _no_jumps_ground,
    Kind.PROGRESS: _progress_ground,
}


def _since(found: Evidence) -> str:
    return _(
        "Since session {since} of the {n} after the baseline ({attempts} in {sessions})."
    ).format(
        since=words.number(found["since_session_point"]),
        n=words.number(found["n_session_points"]),
        attempts=words.attempts(found["n_baseline_attempts"]),
        sessions=words.sessions(found["n_baseline_sessions"]),
    )


def _tenths(share: float) -> str:
    """Return a share in tenths of a percent: such chances lie near 0, or near all.

    >>> _tenths(0.048), _tenths(0.9996)
    ('4.8%', 'over 99.9%')
    """
    if share > 0.9995:
        return _("over {number}%").format(number=words.number(99.9, 1))
    if share < 0.0005:
        return _("under {number}%").format(number=words.number(0.1, 1))
    return _("{number}%").format(number=words.number(100 * share, 1))


def _chance(found: Evidence) -> str:
    if found["false_alarms_per_session"] is None:
        return _("How often it comes by mere chance is not known for the club's own thresholds.")
    sessions = round(1 / found["false_alarms_per_session"])
    return _("By mere chance such an alert comes at most about once in {sessions}.").format(
        sessions=words.sessions(sessions)
    )
