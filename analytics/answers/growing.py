"""Has the athlete outgrown the marks? One judgement for every answer about a run-up."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import words
from analytics.answers.told import Reason
from analytics.answers.watched import watched_footfall
from analytics.core import causes, diagnosis, growth
from analytics.core.causes import Slope
from analytics.core.conventions import BoolArray
from analytics.core.growth import Growth, NotEnoughMeasures, Outgrown
from analytics.selectors import Body, RunUps


@dataclass(frozen=True, slots=True)
class Growing:
    """What heights and feet say of growth since the marks were set.

    Attributes
    ----------
    outgrown
        Heights or feet show that the marks want to be taken anew.
    by_height, by_line
        What each says; None where it cannot be told.
    grown_since_plan_m
        By heights; None where none was measured since.
    drift_m
        By how much nearer the pit the watched footfall lands from session to session, as a line
        has it: positive toward the pit. None below four sessions.
    since_date
        ISO date of the height that said so first; None where heights do not.
    """

    outgrown: bool
    by_height: bool | None
    by_line: bool | None
    grown_since_plan_m: float | None
    drift_m: float | None
    since_date: str | None


def judge(run_ups: RunUps, body: Body | None = None) -> Growing:
    """Return whether the marks of now have been outgrown, from heights and from feet."""
    line = _line_over_sessions(run_ups)
    grown = _by_heights(body)
    found: Outgrown = growth.outgrown(grown, line)
    since_date = None
    if found.by_height and body is not None and body.plan_day is not None:
        days, heights = zip(*body.heights, strict=True)
        since = growth.outgrown_day(days, heights, today=body.today, plan_day=body.plan_day)
        since_date = None if since is None else date.fromordinal(int(since)).isoformat()
    return Growing(
        outgrown=found.shown,
        by_height=found.by_height,
        by_line=found.by_line,
        grown_since_plan_m=grown.since_plan_m if isinstance(grown, Growth) else None,
        drift_m=None if line is None else -line.estimate,
        since_date=since_date,
    )


def _by_heights(body: Body | None) -> Growth | NotEnoughMeasures:
    if body is None or not body.heights:
        return NotEnoughMeasures(n=0, needed=1)
    days, heights = zip(*body.heights, strict=True)
    return growth.follow_growth(days, heights, today=body.today, plan_day=body.plan_day)


def _line_over_sessions(run_ups: RunUps) -> Slope | None:
    """Return the line that the diagnosis of the same attempts draws; None where it draws none.

    Under the plan of this moment only: marks that were set anew since have been outgrown by nobody.
    """
    latest = run_ups.of_latest_revision()
    marks = latest.latest_marks()
    if marks is None or run_ups.marks_now is None or marks.id != run_ups.marks_now.id:
        return None
    footfall = watched_footfall(latest, marks)
    at_m = None if footfall is None else marks.planned_m(footfall)
    if footfall is None or at_m is None:
        return None
    error = latest.toe_m[:, footfall] - at_m
    usable = ~np.isnan(error) & ~np.isnan(latest.board_toe_m)
    if np.count_nonzero(usable) < diagnosis.MIN_ATTEMPTS:
        return None
    sessions = latest.session_labels
    return causes.error_causes(
        error[usable],
        session=sessions[usable],
        place=causes.place_in_session(sessions)[usable],
        wind_mps=latest.wind_mps[usable],
    ).session


def first_grown(run_ups: RunUps, found: Growing) -> BoolArray:
    """Return which attempt is the first that was made with a body that outgrew the marks."""
    grown = np.zeros(len(run_ups), dtype=np.bool_)
    if found.since_date is not None:
        days = [each.date().isoformat() for each in run_ups.started_at]
        later = [place for place, each in enumerate(days) if each >= found.since_date]
        grown[later[:1]] = True
    return grown


def tell(found: Growing) -> str:
    """Say why all marks want to be taken anew; for who has outgrown them."""
    drift = words.centimetres(found.drift_m or 0.0)
    grown = words.height(found.grown_since_plan_m or 0.0)
    if found.by_height and found.by_line:
        return _(
            "Take all marks anew, check marks as well: the athlete has grown by {grown} since they "
            "were set, and from session to session the foot lands {drift} farther toward the pit."
        ).format(grown=grown, drift=drift)
    if found.by_height:
        return _(
            "Take all marks anew, check marks as well: the athlete has grown by {grown} since they "
            "were set, and longer legs make longer steps."
        ).format(grown=grown)
    if found.by_height is None:
        return _(
            "Take all marks anew, check marks as well: from session to session the foot lands "
            "{drift} farther toward the pit. That is what growth does: measure height, too."
        ).format(drift=drift)
    return _(
        "Take all marks anew, check marks as well: from session to session the foot lands {drift} "
        "farther toward the pit. Heights show no growth: who gets faster has longer steps, too."
    ).format(drift=drift)


def reason(found: Growing) -> Reason:
    """Return growth as a reason, with its numbers; for who has outgrown the marks."""
    return Reason(
        code="outgrown",
        numbers={
            "grown_since_plan_m": found.grown_since_plan_m,
            "grown_limit_m": growth.DEFAULT_SETTINGS.recheck_m,
            "drift_m": found.drift_m,
            "drift_level": growth.LINE_LEVEL,
        },
        text=_(
            "Marks count as outgrown from {grown} of growth since the plan on, or when the foot "
            "lands nearer the pit from session to session and chance alone would do as much in "
            "less than {chance} of cases."
        ).format(
            grown=words.height(growth.DEFAULT_SETTINGS.recheck_m),
            chance=words.percent(1 - growth.LINE_LEVEL),
        ),
    )
