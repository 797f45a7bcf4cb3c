"""Who needs the coach today, and why? From what is stored; nothing is worked out from attempts.

Reasons come in the order of their urgency: what can hurt somebody first, then what spoils the next
attempts, then what can wait. Each says its number. That nobody needs the coach is an answer, too.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

from analytics.answers.told import Numbers
from analytics.core import growth, jump_load
from analytics.core.diagnosis import Trouble
from analytics.core.growth import Growth
from analytics.core.mark_advice import MarkAnswer
from analytics.selectors import AthleteFacts, OpenAlert, RunUpFacts, SquadFacts

# Our judgement, all of them.
QUIET_DAYS = 14
"""Without an attempt for so long, somebody asks why."""
REST_DAYS = 60
"""Without one for longer, it is a rest or an end, and no news."""
DAYS_AHEAD = 7
GROWING_YEARS = 18
"""Below this age heights are asked for."""
PAIR = 2
"""Steps fewer than the longest run-up has from which a jump still counts as one from a full one."""

_DAYS_OF_YEAR = 365.25


class Urgency(StrEnum):
    """When somebody should see to it."""

    TODAY = "today"
    SOON = "soon"
    GOOD_NEWS = "good_news"


class Need(StrEnum):
    """Why somebody is needed, the most urgent first."""

    LOAD = "load"
    GROWTH = "growth"
    NO_JUMPS = "alert_no_jump_share"
    LEVEL = "alert_level"
    SPREAD = "alert_spread"
    MARK = "mark_move"
    CONSENT = "consent_missing"
    FOCUS = "practice_focus"
    NO_PLAN = "no_plan"
    HEIGHT = "height_old"
    QUIET = "no_attempts"
    PROGRESS = "alert_progress"


_RANK = {need: place for place, need in enumerate(Need)}
_TODAY = frozenset({Need.LOAD, Need.GROWTH, Need.NO_JUMPS, Need.LEVEL, Need.SPREAD, Need.MARK})
FOR_THE_ADMIN = frozenset({Need.CONSENT})
# What may make somebody run or jump more, or otherwise; and what is said of a body.
WITH_CAUTION = frozenset({*_TODAY, Need.FOCUS, Need.HEIGHT, Need.PROGRESS})


@dataclass(frozen=True, slots=True)
class Found:
    """One reason, as it was found; `numbers` are pairs, so that equal ones are known again."""

    need: Need
    numbers: tuple[tuple[str, float | int | str | None], ...]
    run_up: UUID | None = None
    run_up_code: str | None = None
    alert: UUID | None = None


@dataclass(frozen=True, slots=True)
class Watched:
    """An athlete with the reasons, the most urgent first.

    Attributes
    ----------
    n
        Attempts of all run-ups in use.
    as_of
        When the oldest of their figures was computed; None before the first.
    stale
        Newer attempts wait to be computed.
    """

    athlete: UUID
    athlete_code: str
    n: int
    as_of: datetime | None
    stale: bool
    last_attempt_at: datetime | None
    reasons: tuple[Found, ...]


def look_over(squad: SquadFacts, *, today: date) -> tuple[Watched, ...]:
    """Return every athlete with what calls for somebody, the most urgent athlete first.

    Athletes whose first reasons are equally urgent stand in the order of their codes: no figure
    ranks them.
    """
    watched = [_watch(each, today) for each in squad.athletes]
    return tuple(sorted(watched, key=_urgency_of))


def _urgency_of(watched: Watched) -> int:
    return _RANK[watched.reasons[0].need] if watched.reasons else len(_RANK)


def urgency_of(need: Need) -> Urgency:
    """Return when somebody should see to it."""
    if need in _TODAY:
        return Urgency.TODAY
    return Urgency.GOOD_NEWS if need is Need.PROGRESS else Urgency.SOON


def _watch(athlete: AthleteFacts, today: date) -> Watched:
    reasons = [
        *_load(athlete),
        *_growth(athlete, today),
        *_alerts(athlete, today),
        *_consent(athlete),
        *_quiet(athlete, today),
    ]
    for run_up in athlete.run_ups:
        if not _is_left(run_up, athlete):
            reasons += [*_mark(run_up), *_focus(run_up)]
        reasons += _plan(run_up)
    known = [run_up.as_of for run_up in athlete.run_ups if run_up.as_of is not None]
    return Watched(
        athlete=athlete.id,
        athlete_code=athlete.code,
        n=sum(run_up.n for run_up in athlete.run_ups),
        as_of=min(known, default=None),
        stale=any(run_up.is_stale for run_up in athlete.run_ups),
        last_attempt_at=_last_attempt_at(athlete),
        reasons=tuple(sorted(reasons, key=lambda each: _RANK[each.need])),
    )


def _last_attempt_at(athlete: AthleteFacts) -> datetime | None:
    last = [each.last_started_at for each in athlete.run_ups if each.last_started_at is not None]
    return max(last, default=None)


def _is_left(run_up: RunUpFacts, athlete: AthleteFacts) -> bool:
    """Return whether the athlete went on to other run-ups so long ago that advice on it is none."""
    last, latest = run_up.last_started_at, _last_attempt_at(athlete)
    return last is not None and latest is not None and (latest - last).days > REST_DAYS


def _load(athlete: AthleteFacts) -> Iterator[Found]:
    """Find a session of the last seven days with more full jumps than common practice has.

    Jumps from the longest run-up count, and from those that are at most a pair of steps shorter:
    whoever is just lengthening jumps from both.
    """
    limit = jump_load.DEFAULT_SETTINGS.session_jumps
    longest = max((each.steps for each in athlete.run_ups), default=0)
    jumps: dict[UUID, int] = {}
    for run_up in athlete.run_ups:
        if run_up.steps >= longest - PAIR:
            for session, n in zip(run_up.session_ids, run_up.session_jumps, strict=True):
                jumps[session] = jumps.get(session, 0) + n
    most = max(jumps.values(), default=0)
    if most > limit:
        numbers = {
            "session_jumps": most,
            "session_limit": limit,
            "week_jumps": sum(jumps.values()),
            "sessions": len(jumps),
        }
        yield Found(Need.LOAD, tuple(numbers.items()))


def _growth(athlete: AthleteFacts, today: date) -> Iterator[Found]:
    settings = growth.DEFAULT_SETTINGS
    is_growing = (today - athlete.birth_date).days / _DAYS_OF_YEAR < GROWING_YEARS
    if not athlete.heights:
        if is_growing:
            yield Found(Need.HEIGHT, (("height_age_days", None),))
        return
    days, heights = zip(*athlete.heights, strict=True)
    planned = [each.plan_date for each in athlete.run_ups if each.plan_date is not None]
    found = growth.follow_growth(
        days,
        heights,
        today=today.toordinal(),
        # The marks of the newest plan are what is run from now.
        plan_day=max(planned).toordinal() if planned else None,
    )
    if not isinstance(found, Growth):
        return
    age_days = int(today.toordinal() - found.latest_day)
    if found.fast or found.recheck_marks:
        numbers = {
            "growth_m_per_year": found.velocity_m_per_year,
            "limit_m_per_year": settings.fast_m_per_year,
            "grown_since_plan_m": found.since_plan_m,
            "limit_since_plan_m": settings.recheck_m,
            "height_age_days": age_days,
        }
        yield Found(Need.GROWTH, tuple(numbers.items()))
    if is_growing and age_days > settings.stale_days:
        yield Found(
            Need.HEIGHT, (("height_age_days", age_days), ("limit_days", int(settings.stale_days)))
        )


def _alerts(athlete: AthleteFacts, today: date) -> Iterator[Found]:
    codes = {each.id: each.code for each in athlete.run_ups}
    for alert in athlete.alerts:
        need = Need(f"alert_{alert.kind}")
        yield Found(
            need,
            (
                ("open_days", (today - alert.opened_at.date()).days),
                *_evidence_of(alert, need),
            ),
            run_up=alert.approach_id,
            run_up_code=codes.get(alert.approach_id),
            alert=alert.id,
        )


# Of what a rule says, what a line in an overview has room for.
_OF_EVIDENCE: Mapping[Need, tuple[str, ...]] = {
    Need.NO_JUMPS: ("n", "n_no_jumps", "value", "low", "high"),
    Need.LEVEL: ("level_m", "aim_m", "side"),
    Need.SPREAD: ("spread_m", "usual_spread_m"),
    Need.PROGRESS: ("spread_before_m", "spread_after_m", "n_before", "n_after"),
}


def _evidence_of(alert: OpenAlert, need: Need) -> list[tuple[str, Any]]:
    evidence = json.loads(alert.evidence)
    return [(name, evidence[name]) for name in _OF_EVIDENCE[need]]


def _consent(athlete: AthleteFacts) -> Iterator[Found]:
    if not athlete.has_consent:
        yield Found(Need.CONSENT, (("consents", 0),))


def _quiet(athlete: AthleteFacts, today: date) -> Iterator[Found]:
    last = _last_attempt_at(athlete)
    if last is None:
        return
    days = (today - last.date()).days
    if QUIET_DAYS <= days <= REST_DAYS:
        yield Found(Need.QUIET, (("days", days), ("limit_days", QUIET_DAYS)))


def _mark(run_up: RunUpFacts) -> Iterator[Found]:
    """Find a move that is advised for the marks of now, and that nobody has decided on."""
    advice = run_up.advice
    if advice is None or advice.mark is None or advice.mark.answer != MarkAnswer.MOVE.value:
        return
    if advice.plan != (None if run_up.plan_id is None else str(run_up.plan_id)):
        return  # the marks are others by now, and no session has tried them yet
    if (str(run_up.decided_through), run_up.decided_answer) == (
        advice.through_attempt,
        advice.mark.answer,
    ):
        return
    mark = advice.mark
    numbers: Numbers = {
        "move_m": mark.move_m,
        "start_mark_m": mark.start_mark_m,
        "mean_m": mark.mean_m,
        "low_m": mark.low_m,
        "high_m": mark.high_m,
        "probability_off": mark.probability_off,
        "n": mark.n,
        "place": mark.place,
    }
    yield _of_run_up(Need.MARK, run_up, numbers)


def _focus(run_up: RunUpFacts) -> Iterator[Found]:
    advice = run_up.advice
    if advice is None or advice.focus is None:
        return
    # The mark has a line of its own when it is to be moved.
    is_said = advice.mark is not None and advice.mark.answer == MarkAnswer.MOVE.value
    if advice.focus.trouble == Trouble.WRONG_MARK.value and is_said:
        return
    focus = advice.focus
    numbers: Numbers = {
        "trouble": focus.trouble,
        "part": focus.part,
        "estimate": focus.estimate,
        "size_m": focus.size_m,
        "probability": focus.probability,
        "n": focus.n,
    }
    yield _of_run_up(Need.FOCUS, run_up, numbers)


def _plan(run_up: RunUpFacts) -> Iterator[Found]:
    if run_up.plan_id is None and run_up.n:
        yield _of_run_up(Need.NO_PLAN, run_up, {"n": run_up.n})


def _of_run_up(need: Need, run_up: RunUpFacts, numbers: Numbers) -> Found:
    return Found(need, tuple(numbers.items()), run_up=run_up.id, run_up_code=run_up.code)
