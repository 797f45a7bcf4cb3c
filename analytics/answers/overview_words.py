"""Why each athlete needs somebody, in plain words, each sentence with its number."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from analytics.answers import alert_words, told, words
from analytics.answers.error_shares import part_name
from analytics.answers.overview import (
    FOR_THE_ADMIN,
    WITH_CAUTION,
    Found,
    Need,
    Urgency,
    Watched,
    urgency_of,
)
from analytics.answers.practice_focus import trouble_name
from analytics.answers.told import Numbers
from analytics.core.alert_settings import Kind
from analytics.core.conventions import DEFAULT_LEVEL, Interval
from analytics.core.diagnosis import Finding, Trouble


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason in figures and words.

    `for_whom` is `admin` where a coach can only ask the club's admin.
    """

    code: str
    urgency: Urgency
    for_whom: str
    approach: UUID | None
    approach_code: str | None
    alert: UUID | None
    numbers: Numbers
    text: str


@dataclass(frozen=True, slots=True)
class Row:
    """An athlete as the overview answers."""

    athlete: UUID
    athlete_code: str
    n: int
    as_of: datetime | None
    stale: bool
    last_attempt_at: datetime | None
    urgency: Urgency | None
    text: str
    caution: str | None
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Overview:
    """The whole answer in words."""

    text: str
    n_today: int
    n_soon: int
    results: tuple[Row, ...]


def tell_all(watched: Sequence[Watched]) -> Overview:
    """Say of each athlete whether somebody is needed, and of all how many."""
    rows = tuple(_tell(each) for each in watched)
    n_today = sum(row.urgency is Urgency.TODAY for row in rows)
    n_soon = sum(row.urgency is Urgency.SOON for row in rows)
    return Overview(
        text=_sum_up(len(rows), n_today, n_soon), n_today=n_today, n_soon=n_soon, results=rows
    )


def _sum_up(n: int, n_today: int, n_soon: int) -> str:
    if n == 0:
        return _("There is nobody to look over.")
    if n_today == 0:
        text = _("Nobody needs you today.")
    else:
        text = ngettext(
            "{n_today} of {n} athletes needs you today.",
            "{n_today} of {n} athletes need you today.",
            n_today,
        ).format(n_today=n_today, n=n)
    if n_soon == 0:
        return text
    return f"{text} " + ngettext(
        "There is something to see to soon for {n} athlete.",
        "There is something to see to soon for {n} athletes.",
        n_soon,
    ).format(n=n_soon)


def _tell(watched: Watched) -> Row:
    reasons = tuple(_reason(each) for each in watched.reasons)
    needs = {each.need for each in watched.reasons}
    if reasons:
        text = reasons[0].text
    elif watched.n == 0:
        text = _("Nothing to see to: no attempts yet.")
    else:
        text = _("Nothing to see to.")
    return Row(
        athlete=watched.athlete,
        athlete_code=watched.athlete_code,
        n=watched.n,
        as_of=watched.as_of,
        stale=watched.stale,
        last_attempt_at=watched.last_attempt_at,
        urgency=reasons[0].urgency if reasons else None,
        text=text,
        caution=told.caution() if needs & WITH_CAUTION else None,
        reasons=reasons,
    )


def _reason(found: Found) -> Reason:
    numbers = dict(found.numbers)
    text = _WORDS[found.need](numbers)
    if found.run_up_code is not None:
        text = _("{run_up}: {text}").format(run_up=found.run_up_code, text=text)
    return Reason(
        code=found.need.value,
        urgency=urgency_of(found.need),
        for_whom="admin" if found.need in FOR_THE_ADMIN else "coach",
        approach=found.run_up,
        approach_code=found.run_up_code,
        alert=found.alert,
        numbers=numbers,
        text=text,
    )


def _load_words(given: dict[str, Any]) -> str:
    return _(
        "{jumps} full jumps in one session of the last seven days, more than {limit}. Common "
        "practice has 4 to 8; no published limit exists."
    ).format(jumps=given["session_jumps"], limit=given["session_limit"])


def _growth_words(given: dict[str, Any]) -> str:
    since, rate = given["grown_since_plan_m"], given["growth_m_per_year"]
    if since is not None and since >= given["limit_since_plan_m"] - 1e-9:
        return _(
            "Grown by {grown} since the marks were set: look at the marks again, and go easy on "
            "the load."
        ).format(grown=words.height(since))
    return _("Grows fast, {rate} a year: go easy on the load, and look at the marks again.").format(
        rate=words.centimetres(rate)
    )


def _no_jump_words(given: dict[str, Any]) -> str:
    return f"{alert_words.say_found(Kind.NO_JUMP_SHARE, given)} {_open_for(given)}"


def _level_words(given: dict[str, Any]) -> str:
    return f"{alert_words.say_found(Kind.LEVEL, given)} {_open_for(given)}"


def _spread_words(given: dict[str, Any]) -> str:
    return f"{alert_words.say_found(Kind.SPREAD, given)} {_open_for(given)}"


def _progress_words(given: dict[str, Any]) -> str:
    return alert_words.say_found(Kind.PROGRESS, given)


def _open_for(given: dict[str, Any]) -> str:
    days = given["open_days"]
    if days <= 0:
        return _("Told today.")
    return ngettext("Told {days} day ago.", "Told {days} days ago.", days).format(days=days)


def _mark_words(given: dict[str, Any]) -> str:
    text = (
        _("Advised after {attempts}: move the start mark by {size} toward the pit, to {mark}.")
        if given["move_m"] < 0
        else _("Advised after {attempts}: move the start mark back by {size}, to {mark}.")
    )
    return text.format(
        attempts=words.attempts(given["n"]),
        size=words.centimetres(given["move_m"]),
        mark=words.metres(given["start_mark_m"], 2),
    )


def _focus_words(given: dict[str, Any]) -> str:
    trouble = Trouble(given["trouble"])
    size = words.centimetres(given["size_m"])
    if trouble is Trouble.UNSTEADY_PART:
        return _("Rehearse {part}: it is unsteady, and makes an error of about {size}.").format(
            part=part_name(str(given["part"])), size=size
        )
    return _("{trouble} is shown, and makes an error of about {size}.").format(
        trouble=trouble_name(_finding(given)), size=size
    )


def _finding(given: dict[str, Any]) -> Finding:
    estimate = given["estimate"]
    return Finding(
        trouble=Trouble(given["trouble"]),
        shown=True,
        probability=given["probability"],
        estimate=estimate,
        interval=Interval(estimate, estimate, DEFAULT_LEVEL),  # no words come from it
        size_m=given["size_m"],
        part=given["part"],
    )


def _consent_words(_given: dict[str, Any]) -> str:
    return _("No consent to keep training records is in force: the club's admin sees to it.")


def _plan_words(given: dict[str, Any]) -> str:
    return _("No plan, though {attempts} were made: set start mark and check marks.").format(
        attempts=words.attempts(given["n"])
    )


def _height_words(given: dict[str, Any]) -> str:
    days = given["height_age_days"]
    if days is None:
        return _("Height was never measured: nobody knows how fast the athlete grows.")
    return ngettext(
        "Height was measured {days} day ago: measure it again.",
        "Height was measured {days} days ago: measure it again.",
        days,
    ).format(days=days)


def _quiet_words(given: dict[str, Any]) -> str:
    return ngettext(
        "No attempts for {days} day.", "No attempts for {days} days.", given["days"]
    ).format(days=given["days"])


_WORDS = {
    Need.LOAD: _load_words,
    Need.GROWTH: _growth_words,
    Need.NO_JUMPS: _no_jump_words,
    Need.LEVEL: _level_words,
    Need.SPREAD: _spread_words,
    Need.MARK: _mark_words,
    Need.CONSENT: _consent_words,
    Need.FOCUS: _focus_words,
    Need.NO_PLAN: _plan_words,
    Need.HEIGHT: _height_words,
    Need.QUIET: _quiet_words,
    Need.PROGRESS: _progress_words,
}
