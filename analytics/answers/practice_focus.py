"""What to practise next, or to put right first?"""

from dataclasses import dataclass, replace

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import aim, growing, outlook, told, words
from analytics.answers.aim import Aim
from analytics.answers.error_shares import part_name
from analytics.answers.growing import Growing
from analytics.answers.parts import where_the_run_began
from analytics.answers.steering import phase_starts_of
from analytics.answers.told import Numbers, Reason, Told
from analytics.answers.watched import watched_footfall
from analytics.core import diagnosis, length_settings
from analytics.core.aim import AimAdvice
from analytics.core.conventions import FloatArray, NotEnoughAttempts
from analytics.core.diagnosis import DEFAULT_SETTINGS, Diagnosis, Finding, Trouble
from analytics.core.speed_to_distance import CHANGE_CV, Event
from analytics.selectors import Body, Marks, RunUps

# Lines over sessions and within them, by what they may be on either side.
_OVER_SESSIONS = frozenset({Trouble.GROWTH, Trouble.LONGER_LATER, Trouble.SHORTER_LATER})
# What growing.tell tells of.
_TOWARD_THE_PIT = frozenset({Trouble.GROWTH, Trouble.LONGER_LATER})
_WITHIN_SESSIONS = frozenset({Trouble.FATIGUE, Trouble.LONGER_EACH_TIME})
# Troubles that are seen as a line: the confidence that it is not level must reach the limit.
SLOPES = _OVER_SESSIONS | _WITHIN_SESSIONS | {Trouble.WIND}
# What is put right by other marks, and so is spoken of no more once they were set.
_OF_THE_MARKS = _OVER_SESSIONS | {Trouble.WRONG_MARK}
# What may come first besides a trouble of the run-up.
OUTGROWN, AIM, NOTHING = "outgrown", "aim", "nothing"
ANSWERS = (*(each.value for each in Trouble), OUTGROWN, AIM, NOTHING)
# Equal attempts give equal answers.
_SEED = 20


@dataclass(frozen=True, slots=True, eq=False)
class Focus:
    """The figures of the answer.

    Attributes
    ----------
    first
        What to see to first, in one word: a trouble, `outgrown`, `aim`, or `nothing`; None where
        there are not enough attempts.
    check_footfall
        The footfall that was watched beside the board; None where the plan does not say enough.
    set_anew
        The marks were set anew after the last of these attempts.
    growing
        Whether the marks have been outgrown, as mark-advice has it.
    aim, probability_no_jump
        Where nothing else is shown: the aim of all attempts that are left as the answer `aim` has
        it, and without distances the risk as `outlook` has it; None where something is shown, and
        where the plan of now has a better aim already.
    """

    diagnosis: Diagnosis | NotEnoughAttempts
    first: str | None
    check_footfall: int | None
    is_planned: bool
    set_anew: bool
    growing: Growing
    aim: Aim | None = None
    probability_no_jump: float | None = None


def work_out(run_ups: RunUps, *, body: Body | None = None) -> Focus:
    """Return what is wrong with the attempts of the latest plan revision, the largest first."""
    seen = diagnose(run_ups, body=body)
    if not isinstance(seen.diagnosis, Diagnosis) or seen.diagnosis.main is not None:
        return replace(seen, first=_first_of(seen))
    best = aim.work_out(run_ups)
    if not (seen.set_anew and _aims_well(best, run_ups.latest_marks(), run_ups.marks_now)):
        seen = replace(seen, aim=best, probability_no_jump=_risk_without_distances(best, run_ups))
    return replace(seen, first=_first_of(seen))


def diagnose(run_ups: RunUps, *, body: Body | None = None) -> Focus:
    """Return the findings alone, without what comes first and without the aim.

    The aim takes three times as long to work out as all findings together.
    """
    grown = growing.judge(run_ups, body)
    run_ups = run_ups.of_latest_revision()
    marks = run_ups.latest_marks()
    now = run_ups.marks_now
    set_anew = marks is not None and now is not None and marks.id != now.id
    starts = phase_starts_of(marks)
    planned = None if marks is None else _planned_m(run_ups, marks)
    footfall = watched_footfall(run_ups, marks)
    if planned is None or starts is None or footfall is None:
        nothing = NotEnoughAttempts(n=0, needed=diagnosis.MIN_ATTEMPTS)
        return Focus(nothing, None, None, is_planned=False, set_anew=set_anew, growing=grown)
    toe_m = run_ups.toe_m.copy()
    toe_m[:, -1] = where_the_run_began(run_ups)
    found = diagnosis.diagnose(
        toe_m,
        run_ups.no_jump,
        plan=diagnosis.Plan(planned, starts, check_footfall=footfall),
        rng=np.random.default_rng(_SEED),
        session=run_ups.session_labels,
        wind_mps=run_ups.wind_mps,
        grew=grown.by_height,
    )
    return Focus(
        found,
        first=None,
        check_footfall=footfall,
        is_planned=True,
        set_anew=set_anew,
        growing=grown,
    )


def _risk_without_distances(best: Aim, run_ups: RunUps) -> float | None:
    """Return the risk of a no jump where there is no aim to go with it."""
    if isinstance(best.aim, AimAdvice):
        return None
    ahead = outlook.work_out(run_ups).outlook
    return None if isinstance(ahead, NotEnoughAttempts) else ahead.probability_no_jump


def _aims_well(best: Aim, before: Marks | None, now: Marks | None) -> bool:
    """Tell whether the plan of now asks for a better aim: what was landed at before says no more.

    Without distances any aim farther behind the line is one.
    """
    if before is None or now is None:
        return False
    if not isinstance(best.aim, AimAdvice):
        return now.aim_m > before.aim_m
    return best.aim.fixed.good_from_m <= now.aim_m <= best.aim.fixed.good_to_m


def _first_of(found: Focus) -> str | None:
    """Return what `tell` tells first, in one word."""
    if isinstance(found.diagnosis, NotEnoughAttempts):
        return None
    main = found.diagnosis.main
    if found.growing.outgrown and main in {None, Trouble.WRONG_MARK, *_TOWARD_THE_PIT}:
        return OUTGROWN
    if main is not None:
        return main.value
    return AIM if aim_is_wrong(found) else NOTHING


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
    reasons = [_reason(each, seen) for each in seen.findings]
    changes = _would_change(seen)
    if found.growing.outgrown:
        reasons.append(growing.reason(found.growing))
    if found.aim is not None and aim_is_wrong(found):
        reasons += aim.tell(found.aim).reasons
    return Told(
        text=" ".join(_what_to_do(found, seen)),
        reasons=tuple(reasons),
        would_change=tuple(changes),
        caution=told.caution(),
    )


def aim_is_wrong(found: Focus) -> bool:
    """Tell whether the aim is first to put right: the run-up itself is where it is wanted.

    Where another aim is worth as much as the least change of distance that counts, or where more
    attempts are no jumps than a run-up that is ready for more steps may have. An aim that loses
    less is named as well, but nothing to begin with.
    """
    risk, advice = found.probability_no_jump, _aim_of(found)
    if advice is not None:
        if aim.is_good_now(advice):
            return False
        if advice.gain_m >= _least_that_counts(advice.fixed.expected_m):
            return True
        risk = advice.habit_probability_no_jump
    return risk is not None and risk > length_settings.DEFAULT_SETTINGS.most_no_jumps


def _aim_of(found: Focus) -> AimAdvice | None:
    return found.aim.aim if found.aim is not None and isinstance(found.aim.aim, AimAdvice) else None


def _least_that_counts(distance_m: float) -> float:
    """Return half of what distances differ by from competition to competition (Hopkins 2005).

    By the long jump's share, the larger one.
    """
    return CHANGE_CV[Event.LONG_JUMP] / 2 * distance_m


def _what_to_do(found: Focus, seen: Diagnosis) -> list[str]:
    """Return what to see to, the first thing first; growth is told as mark-advice tells it."""
    if found.set_anew and seen.main in _OF_THE_MARKS:
        return [
            _(
                "The marks were set anew after these attempts, which show the marks of before to "
                "be wrong. Run from the new marks: the next attempts tell whether they are right."
            )
        ]
    outgrown = [growing.tell(found.growing)] if found.growing.outgrown else []
    if seen.main is None:
        return outgrown or [_aim_or_nothing(found)]
    if seen.main in _TOWARD_THE_PIT and outgrown:
        return outgrown
    first = _main_trouble(seen, seen.findings[0])
    return [*outgrown, first] if seen.main is Trouble.WRONG_MARK else [first, *outgrown]


def _aim_or_nothing(found: Focus) -> str:
    best = _aim_of(found)
    if found.aim is None:
        return _(
            "The plan was changed after these attempts, which show nothing else that should be put "
            "right first: the next ones tell whether its aim is met."
        )
    if not aim_is_wrong(found):
        nothing = _(
            "These attempts show nothing that should be put right first. That is not to say that "
            "all is well: few attempts show little."
        )
        if best is None or aim.is_good_now(best):
            return nothing
        small = _("To aim {aim} behind the line is worth {gain} on the mean of a competition.")
        return f"{nothing} " + small.format(
            aim=words.centimetres(best.fixed.aim_m), gain=words.centimetres(best.gain_m)
        )
    if best is None:
        return _(
            "Put the aim right first: the run-up is where it is wanted, but about {risk} of "
            "attempts like these are no jumps. Aim farther behind the line; official distances "
            "would tell how far."
        ).format(risk=words.percent(found.probability_no_jump or 0.0))
    return _(
        "Put the aim right first: the run-up is where it is wanted, but there the toe is expected "
        "{habit}, with about {risk} no jumps. To aim {aim} behind the line is worth {gain} on the "
        "mean of a competition."
    ).format(
        habit=words.place(best.habit_m),
        risk=words.percent(best.habit_probability_no_jump),
        aim=words.centimetres(best.fixed.aim_m),
        gain=words.centimetres(best.gain_m),
    )


def _main_trouble(seen: Diagnosis, first: Finding) -> str:
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
            "Take all marks anew: from session to session the foot lands {slope} farther toward "
            "the pit."
        ),
        Trouble.LONGER_LATER: _(
            "Take all marks anew: from session to session the foot lands {slope} farther toward "
            "the pit."
        ),
        Trouble.SHORTER_LATER: _(
            "Take all marks anew: from session to session the foot lands {slope} farther from the "
            "pit. Growth would do the opposite: look for what shortens the steps."
        ),
        Trouble.FATIGUE: _(
            "Shorten the sessions or rest longer: within a session each attempt lands {slope} "
            "farther from the pit than the one before. More attempts would practise tired steps."
        ),
        Trouble.LONGER_EACH_TIME: _(
            "See to the first attempts of a session: each attempt lands {slope} farther toward the "
            "pit than the one before. Tiredness would do the opposite; too short a warm-up can."
        ),
        Trouble.WIND: _(
            "Move the marks for the wind: for each metre per second of tail wind the foot lands "
            "{slope} nearer the pit."
        ),
        Trouble.LATE_STEERING: _(
            "Practise to steer earlier: the last two steps have to correct nearly everything, and "
            "the toe spreads by {spread} at the board."
        ),
    }[first.trouble].format(
        error=words.error(first.estimate),
        slope=words.centimetres(first.estimate),
        spread=words.centimetres(first.estimate),
    )


def trouble_name(finding: Finding) -> str:
    """Return a possible trouble as it is called at the beginning of a sentence."""
    return {
        Trouble.WRONG_MARK: _("A wrong start mark"),
        Trouble.LAST_STEPS: _("Trouble in the last steps"),
        Trouble.GROWTH: _("Growth"),
        Trouble.LONGER_LATER: _("A lengthening of the steps from session to session"),
        Trouble.SHORTER_LATER: _("A shortening of the steps from session to session"),
        Trouble.FATIGUE: _("Tiredness"),
        Trouble.LONGER_EACH_TIME: _("A lengthening of the steps within sessions"),
        Trouble.WIND: _("Wind"),
        Trouble.UNSTEADY_PART: _("An unsteady part of the run-up"),
        Trouble.LATE_STEERING: _("Late steering"),
    }[finding.trouble]


def _reason(finding: Finding, seen: Diagnosis) -> Reason:
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
            how_sure=_how_sure(finding, seen),
            size=words.centimetres(finding.size_m),
        ),
    )


def _how_sure(finding: Finding, seen: Diagnosis) -> str:
    """Say how likely a trouble is; where that would do to name it, why it is not named."""
    sure = _chance(finding)
    if finding.shown or finding.probability < _limit_of(finding):
        return sure
    return f"{sure} {_what_speaks_against(finding.trouble, seen)}"


def _what_speaks_against(trouble: Trouble, seen: Diagnosis) -> str:
    if trouble is Trouble.WIND:
        return _("But the foot came down farther from the pit in a tail wind: no wind does that.")
    if trouble is Trouble.UNSTEADY_PART:
        steers_late = any(
            each.trouble is Trouble.LATE_STEERING and each.shown for each in seen.findings
        )
        return (
            _("But late steering goes first.")
            if steers_late
            else _("But no one part of the run-up stands out.")
        )
    if any(each.shown and each.trouble in _OVER_SESSIONS for each in seen.findings):
        return _("But it changes from session to session, and what makes it change goes first.")
    return _("But the first attempts of a session more likely meet it, and tiredness goes first.")


def _chance(finding: Finding) -> str:
    limit = _limit_of(finding)
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
        "limit": _limit_of(finding),
        "estimate": finding.estimate,
        "low": finding.interval.low,
        "high": finding.interval.high,
        "size_m": finding.size_m,
        "part": finding.part,
    }


def _limit_of(finding: Finding) -> float:
    """Return from where a trouble counts as shown."""
    if finding.trouble not in SLOPES:
        return DEFAULT_SETTINGS.sure
    usual = DEFAULT_SETTINGS.slope_level
    # Tiredness counts from less on where it alone makes the mark look wrong.
    is_tired = finding.trouble is Trouble.FATIGUE and finding.shown
    return DEFAULT_SETTINGS.tired_level if is_tired and finding.probability < usual else usual


def _would_change(seen: Diagnosis) -> list[str]:
    """Name what comes nearest to being shown, and what could not be judged."""
    changes = []
    hidden = [each for each in seen.findings if not each.shown]
    if hidden:
        nearest = max(hidden, key=lambda each: each.probability / _limit_of(each))
        changes.append(
            _("Next to be named: {trouble}. {how_sure}").format(
                trouble=trouble_name(nearest), how_sure=_how_sure(nearest, seen)
            )
        )
    judged = {each.trouble for each in seen.findings}
    if Trouble.WIND not in judged:
        changes.append(_("Wind readings: without them nobody sees what the wind does."))
    if not judged & _OVER_SESSIONS:
        changes.append(_("Four sessions and more: until then growth looks like a wrong mark."))
    return changes
