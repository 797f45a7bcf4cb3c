"""What to practise next, or to put right first?"""

from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import told, words
from analytics.answers.error_shares import part_name
from analytics.answers.parts import where_the_run_began
from analytics.answers.steering import phase_starts_of
from analytics.answers.told import Numbers, Reason, Told
from analytics.answers.watched import watched_footfall
from analytics.core import diagnosis
from analytics.core.conventions import FloatArray, NotEnoughAttempts
from analytics.core.diagnosis import DEFAULT_SETTINGS, Diagnosis, Finding, Trouble
from analytics.selectors import Marks, RunUps

# Troubles that are seen as a line: the confidence that it is not level must reach the limit.
SLOPES = frozenset({Trouble.FATIGUE, Trouble.WIND, Trouble.GROWTH})
# Equal attempts give equal answers.
_SEED = 20


@dataclass(frozen=True, slots=True, eq=False)
class Focus:
    """The figures of the answer.

    Attributes
    ----------
    check_footfall
        The footfall that was watched beside the board; None where the plan does not say enough.
    """

    diagnosis: Diagnosis | NotEnoughAttempts
    check_footfall: int | None
    is_planned: bool


def work_out(run_ups: RunUps) -> Focus:
    """Return what is wrong with the attempts of the latest plan revision, the largest first."""
    run_ups = run_ups.of_latest_revision()
    marks = run_ups.latest_marks()
    starts = phase_starts_of(marks)
    planned = None if marks is None else _planned_m(run_ups, marks)
    footfall = watched_footfall(run_ups, marks)
    if planned is None or starts is None or footfall is None:
        nothing = NotEnoughAttempts(n=0, needed=diagnosis.MIN_ATTEMPTS)
        return Focus(nothing, check_footfall=None, is_planned=False)
    toe_m = run_ups.toe_m.copy()
    toe_m[:, -1] = where_the_run_began(run_ups)
    found = diagnosis.diagnose(
        toe_m,
        run_ups.no_jump,
        plan=diagnosis.Plan(planned, starts, check_footfall=footfall),
        rng=np.random.default_rng(_SEED),
        session=run_ups.session_labels,
        wind_mps=run_ups.wind_mps,
    )
    return Focus(found, check_footfall=footfall, is_planned=True)


def _planned_m(run_ups: RunUps, marks: Marks) -> FloatArray | None:
    """Return where the plan puts every footfall; its marks and its aim go before."""
    if marks.toe_m is None:
        return None
    planned = marks.toe_m.copy()
    for mark in marks.check_marks:
        planned[mark.footfall] = mark.at_m
    planned[0], planned[run_ups.steps] = marks.aim_m, marks.start_mark_m
    return planned


def tell(found: Focus) -> Told:
    """Say what to see to first."""
    seen = found.diagnosis
    if isinstance(seen, NotEnoughAttempts):
        return told.not_enough(
            seen,
            what=_("under the latest plan with a watched footfall and a measured toe"),
            would_change=()
            if found.is_planned
            else (_("A plan with its footfalls, and where transition and attack begin."),),
        )
    return Told(
        text=_what_to_do(seen),
        reasons=tuple(_reason(each) for each in seen.findings),
        would_change=tuple(_would_change(seen)),
        caution=told.caution(),
    )


def _what_to_do(seen: Diagnosis) -> str:
    if seen.main is None:
        return _(
            "These attempts show nothing that should be put right first. That is not to say that "
            "all is well: few attempts show little."
        )
    first = seen.findings[0]
    if _is_of_another_kind(first):
        return _not_what_it_would_be(first)
    if seen.main is Trouble.UNSTEADY_PART:
        return _(
            "Rehearse {part}: it is what makes the toe spread by {spread} at the board."
        ).format(
            part=part_name(str(first.part)),
            spread=words.centimetres(first.size_m),
        )
    return {
        Trouble.WRONG_MARK: _(
            "See to the start mark first: the watched footfall lands {error} on the mean. Practice "
            "does not help against a wrong mark."
        ),
        Trouble.LAST_STEPS: _(
            "Practise the last steps: the check mark is met, but at the board the foot lands "
            "{error} on the mean. The start mark is not the trouble."
        ),
        Trouble.GROWTH: _(
            "Take the marks anew: from session to session the foot lands {slope} farther toward "
            "the pit. That is what growth does: measure height, too."
        ),
        Trouble.FATIGUE: _(
            "Shorten the sessions or rest longer: within a session each attempt lands {slope} "
            "farther from the pit than the one before. More attempts would practise tired steps."
        ),
        Trouble.WIND: _(
            "Move the marks for the wind: for each metre per second of tail wind the foot lands "
            "{slope} nearer the pit."
        ),
        Trouble.LATE_STEERING: _(
            "Practise to steer earlier: the last two steps have to correct nearly everything, and "
            "the toe spreads by {spread} at the board."
        ),
    }[seen.main].format(
        error=words.error(first.estimate),
        slope=words.centimetres(first.estimate),
        spread=words.centimetres(first.estimate),
    )


def _is_of_another_kind(finding: Finding) -> bool:
    """Tell whether a line goes the other way than growth, which lengthens steps, or tiredness."""
    return (finding.trouble is Trouble.GROWTH and finding.estimate > 0) or (
        finding.trouble is Trouble.FATIGUE and finding.estimate < 0
    )


def _not_what_it_would_be(finding: Finding) -> str:
    slope = words.centimetres(finding.estimate)
    if finding.trouble is Trouble.GROWTH:
        return _(
            "Take the marks anew: from session to session the foot lands {slope} farther from the "
            "pit. Growth would do the opposite: look for what shortens the steps."
        ).format(slope=slope)
    return _(
        "See to the first attempts of a session: each attempt lands {slope} farther toward the pit "
        "than the one before. Tiredness would do the opposite; a short warm-up can do that."
    ).format(slope=slope)


def trouble_name(finding: Finding) -> str:
    """Return a possible trouble as it is called at the beginning of a sentence."""
    if _is_of_another_kind(finding):
        return (
            _("A loss of length from session to session")
            if finding.trouble is Trouble.GROWTH
            else _("A gain of length within sessions")
        )
    return {
        Trouble.WRONG_MARK: _("A wrong start mark"),
        Trouble.LAST_STEPS: _("Trouble in the last steps"),
        Trouble.GROWTH: _("Growth"),
        Trouble.FATIGUE: _("Tiredness"),
        Trouble.WIND: _("Wind"),
        Trouble.UNSTEADY_PART: _("An unsteady part of the run-up"),
        Trouble.LATE_STEERING: _("Late steering"),
    }[finding.trouble]


def _reason(finding: Finding) -> Reason:
    text = (
        _("{trouble} is shown, and makes an error of about {size}. {how_sure}")
        if finding.shown
        else _("{trouble} is not shown. {how_sure}")
    )
    return Reason(
        code=finding.trouble.value,
        numbers=_numbers(finding),
        text=text.format(
            trouble=trouble_name(finding),
            how_sure=_how_sure(finding),
            size=words.centimetres(finding.size_m),
        ),
    )


def _how_sure(finding: Finding) -> str:
    limit = _limit_of(finding.trouble)
    if finding.trouble in SLOPES:
        # How seldom chance does as much is not how likely the trouble is.
        return _(
            "Chance alone would make as much in {chance} of cases; it counts below {limit}."
        ).format(chance=words.percent(1 - finding.probability), limit=words.percent(1 - limit))
    return _("That it is there has a chance of {chance}; it counts from {limit} on.").format(
        chance=words.percent(finding.probability), limit=words.percent(limit)
    )


def _numbers(finding: Finding) -> Numbers:
    return {
        "probability": finding.probability,
        "limit": _limit_of(finding.trouble),
        "estimate": finding.estimate,
        "low": finding.interval.low,
        "high": finding.interval.high,
        "size_m": finding.size_m,
        "part": finding.part,
    }


def _limit_of(trouble: Trouble) -> float:
    """Return from where a trouble counts as shown."""
    return DEFAULT_SETTINGS.slope_level if trouble in SLOPES else DEFAULT_SETTINGS.sure


def _would_change(seen: Diagnosis) -> list[str]:
    """Name what comes nearest to being shown, and what could not be judged."""
    changes = []
    hidden = [each for each in seen.findings if not each.shown]
    if hidden:
        nearest = max(hidden, key=lambda each: each.probability / _limit_of(each.trouble))
        changes.append(
            _("Next to be named: {trouble}. {how_sure}").format(
                trouble=trouble_name(nearest), how_sure=_how_sure(nearest)
            )
        )
    judged = {each.trouble for each in seen.findings}
    if Trouble.WIND not in judged:
        changes.append(_("Wind readings: without them nobody sees what the wind does."))
    if Trouble.GROWTH not in judged:
        changes.append(_("Four sessions and more: growth is a wrong mark until then."))
    return changes
