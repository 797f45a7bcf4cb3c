"""Is the plan's aim what to put right first? As practice-focus finds it, for the next attempt."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from analytics.answers import practice_focus, words
from analytics.answers.practice_focus import Focus
from analytics.answers.told import Reason
from analytics.core.aim import AimAdvice

TOO_NEAR, TOO_FAR, GOOD = "too_near", "too_far", "good"


@dataclass(frozen=True, slots=True)
class AimFirst:
    """What practice-focus puts first, and what that means for the next attempt.

    Attributes
    ----------
    planned, planned_aim_m
        What the plan's aim is found to be: `too_near` to the line, `too_far` behind it, or `good`
        and not met.
    aim_m, gain_m
        The better one, and what it is worth on the mean of a competition; None where no distances
        tell, or where the plan's is good.
    start_mark_m
        From where to run to try it.
    habit_m
        Where the toe is expected as it is; None without distances.
    probability_no_jump
        Of attempts as they are.
    """

    planned: str
    planned_aim_m: float
    aim_m: float | None
    gain_m: float | None
    start_mark_m: float | None
    habit_m: float | None
    probability_no_jump: float


def judge(
    focus: Focus, *, planned_aim_m: float, start_mark_m: float | None, mark_moves: bool
) -> AimFirst | None:
    """Return what is wrong with the aim; None where practice-focus puts something else first.

    `start_mark_m` is what the next attempt is run from, for the plan's aim. Where that moves away
    from the plan's mark, a good aim that was not met is cared for.
    """
    if focus.first != practice_focus.AIM:
        return None
    advice = None if focus.aim is None else focus.aim.aim
    if not isinstance(advice, AimAdvice):
        risk = focus.probability_no_jump or 0.0
        return AimFirst(TOO_NEAR, planned_aim_m, None, None, None, None, risk)
    choice, risk = advice.fixed, advice.habit_probability_no_jump
    if choice.good_from_m <= planned_aim_m <= choice.good_to_m:
        if mark_moves:
            return None
        return AimFirst(GOOD, planned_aim_m, None, None, None, advice.habit_m, risk)
    try_m = None
    if start_mark_m is not None:
        try_m = round(start_mark_m + choice.aim_m - planned_aim_m, 2)
    return AimFirst(
        planned=TOO_NEAR if planned_aim_m < choice.good_from_m else TOO_FAR,
        planned_aim_m=planned_aim_m,
        aim_m=choice.aim_m,
        gain_m=advice.gain_m,
        start_mark_m=try_m,
        habit_m=advice.habit_m,
        probability_no_jump=risk,
    )


def tell(found: AimFirst) -> str:
    """Say what is wrong with the aim, and how to try a better one."""
    risk = words.percent(found.probability_no_jump)
    if found.habit_m is None:
        return _(
            "Outside of a competition the planned aim holds, but it is what to put right first: "
            "about {risk} of attempts like these are no jumps. Plan an aim farther behind the "
            "line; official distances would tell how far."
        ).format(risk=risk)
    habit = words.place(found.habit_m)
    if found.aim_m is None or found.gain_m is None:
        return _(
            "The planned aim is good, but it is not met, and that is what to put right first: the "
            "toe is expected {habit}, with about {risk} no jumps. That the mark is to blame is not "
            "shown yet; more attempts tell."
        ).format(habit=habit, risk=risk)
    text = (
        _(
            "Outside of a competition the planned aim holds, but it is what to put right first, "
            "for it lies too near the line: the toe is expected {habit}, with about {risk} no "
            "jumps, and to aim {aim} behind the line is worth {gain} on the mean of a competition."
        )
        if found.planned == TOO_NEAR
        else _(
            "Outside of a competition the planned aim holds, but it is what to put right first, "
            "for it lies too far behind the line: the toe is expected {habit}, with about {risk} "
            "no jumps, and to aim {aim} behind the line is worth {gain} on the mean of a "
            "competition."
        )
    )
    said = text.format(
        habit=habit,
        risk=risk,
        aim=words.centimetres(found.aim_m),
        gain=words.centimetres(found.gain_m),
    )
    if found.start_mark_m is None:
        return said
    how = _("To try that aim, run from {mark}; to keep it, put it into the plan.")
    return f"{said} " + how.format(mark=words.metres(found.start_mark_m, 2))


def reason(found: AimFirst) -> Reason:
    """Return what speaks for another aim, with its numbers."""
    text = {
        TOO_NEAR: _(
            "What to practise puts the aim first: the plan's, {aim} behind the line, is too near."
        ),
        TOO_FAR: _(
            "What to practise puts the aim first: the plan's, {aim} behind the line, is too far."
        ),
        GOOD: _(
            "What to practise puts the aim first: the plan's, {aim} behind the line, is not met."
        ),
    }[found.planned]
    return Reason(
        code="aim_first",
        numbers={
            "planned": found.planned,
            "planned_aim_m": found.planned_aim_m,
            "aim_m": found.aim_m,
            "gain_m": found.gain_m,
            "start_mark_m": found.start_mark_m,
            "habit_m": found.habit_m,
            "probability_no_jump": found.probability_no_jump,
        },
        text=text.format(aim=words.centimetres(found.planned_aim_m)),
    )


def would_change() -> str:
    """Name what changes the aim for good."""
    return _("Another aim in the plan: outside of a competition the plan's holds.")
