"""How far behind the line to aim, for the attempts that are left?"""

from dataclasses import dataclass
from uuid import UUID

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from analytics.answers import expecting, told, words
from analytics.answers.told import Reason, Told
from analytics.core import aim
from analytics.core.aim import AimAdvice
from analytics.core.conventions import NotEnoughAttempts
from analytics.selectors import RunUps

MOST_ATTEMPTS = aim.MOST_ATTEMPTS
# Distances that differ by more than this are not one athlete's from one run-up: one of them was
# typed wrongly. Ours.
LARGEST_DISTANCE_SD_M = 0.8


@dataclass(frozen=True, slots=True, eq=False)
class Aim:
    """The figures of the answer.

    Attributes
    ----------
    aim
        None where the distances contradict each other.
    lacks
        What there are too few of: `toe` or `distance`; None where there are enough.
    distance_sd_m
        How much the effective distances differ; None below two.
    """

    aim: AimAdvice | NotEnoughAttempts | None
    lacks: str | None
    distance_sd_m: float | None


def work_out(
    run_ups: RunUps,
    *,
    attempts_left: int = MOST_ATTEMPTS,
    best_m: float | None = None,
    cut_m: float | None = None,
    session: UUID | None = None,
) -> Aim:
    """Return the aim with the best result to be expected from the attempts that are left."""
    effective = expecting.effective_m(run_ups)
    known = effective[~np.isnan(effective)]
    sd = float(known.std(ddof=1)) if known.size > 1 else None
    toe = expecting.expected_toe(run_ups, session=session)
    if isinstance(toe, NotEnoughAttempts):
        return Aim(toe, lacks="toe", distance_sd_m=sd)
    distance = expecting.expected_distance(run_ups, session=session)
    if isinstance(distance, NotEnoughAttempts):
        return Aim(distance, lacks="distance", distance_sd_m=sd)
    if sd is None or sd > LARGEST_DISTANCE_SD_M:
        return Aim(None, lacks=None, distance_sd_m=sd)
    advice = aim.best_aim(toe, distance, attempts_left=attempts_left, best_m=best_m, cut_m=cut_m)
    return Aim(advice, lacks=None, distance_sd_m=sd)


def is_good_now(advice: AimAdvice) -> bool:
    """Tell whether landing where the toe lands now is worth as much as the aim, to a centimetre.

    In all attempts that are left: what one of several attempts loses is soon less than that.
    """
    return advice.fixed.good_from_m <= advice.habit_m <= advice.fixed.good_to_m


def tell(found: Aim) -> Told:
    """Say where to aim, how wide the choice is, and what there is to win."""
    advice = found.aim
    if advice is None:
        return Told(
            text=_(
                "No aim can be worked out: the distances differ by {sd} m and more, which no "
                "athlete's do from one run-up. Look for one that was typed wrongly."
            ).format(sd=words.number(found.distance_sd_m or 0.0, 1)),
            would_change=(_("Distances that fit each other."),),
        )
    if isinstance(advice, NotEnoughAttempts):
        what = {
            "toe": _("with a measured toe under the latest plan"),
            "distance": _("that are full jumps with an official distance and a measured toe"),
        }
        return told.not_enough(advice, what=what[str(found.lacks)])
    return Told(
        text=" ".join(_where_to_aim(advice)),
        reasons=tuple(_reasons(advice)),
        would_change=tuple(_would_change(advice)),
        caution=told.caution(),
    )


def _where_to_aim(advice: AimAdvice) -> list[str]:
    fixed, plan = advice.fixed, advice.plan
    text = ngettext(
        "Aim {aim} behind the line in the last attempt. From {low} to {high} is as good, to a "
        "centimetre of distance. About {risk} of attempts at this aim are no jumps.",
        "Aim {aim} behind the line in all {n} attempts that are left. From {low} to {high} is as "
        "good, to a centimetre of distance. About {risk} of attempts at this aim are no jumps.",
        advice.attempts_left,
    )
    sentences = [
        text.format(
            aim=words.centimetres(fixed.aim_m),
            n=advice.attempts_left,
            low=words.centimetres(fixed.good_from_m),
            high=words.centimetres(fixed.good_to_m),
            risk=words.percent(fixed.probability_no_jump),
        )
    ]
    if advice.attempts_left > 1:
        sentences.append(
            _("Who goes by the results from attempt to attempt aims {aim} behind it now.").format(
                aim=words.centimetres(plan.aim_m)
            )
        )
    if is_good_now(advice):
        sentences.append(
            _("Nothing has to be moved: the toe is expected {habit} now.").format(
                habit=words.place(advice.habit_m)
            )
        )
    else:
        sentences.append(
            _(
                "The toe is expected {habit} now; to aim better is worth {gain} on the mean, "
                "where a competition without a valid attempt counts as 0 m."
            ).format(habit=words.place(advice.habit_m), gain=words.centimetres(advice.gain_m))
        )
    if fixed.capped:
        sentences.append(
            _("By the sums farther back would be better still, but the aim stays on the board.")
        )
    return sentences


def _reasons(advice: AimAdvice) -> list[Reason]:
    fixed = advice.fixed
    return [
        Reason(
            code="aim",
            numbers={
                "aim_m": fixed.aim_m,
                "good_from_m": fixed.good_from_m,
                "good_to_m": fixed.good_to_m,
                "probability_no_jump": fixed.probability_no_jump,
                "expected_m": fixed.expected_m,
                "attempts_left": advice.attempts_left,
                "best_m": advice.best_m,
            },
            text=_(
                "With {attempts} left, the best distance in the end is expected at {expected} at "
                "this aim; a competition without a valid attempt counts as 0 m."
            ).format(
                attempts=words.attempts(advice.attempts_left),
                expected=words.metres(fixed.expected_m, 2),
            ),
        ),
        Reason(
            code="habit",
            numbers={
                "habit_m": advice.habit_m,
                "habit_probability_no_jump": advice.habit_probability_no_jump,
                "habit_expected_m": advice.habit_expected_m,
                "gain_m": advice.gain_m,
                "n_toes": advice.n_toes,
                "n_distances": advice.n_distances,
            },
            text=_(
                "Landing where it does now ({habit}, {risk} no jumps) {expected} is expected. From "
                "{toes} with a toe and {distances} with a distance."
            ).format(
                habit=words.place(advice.habit_m),
                risk=words.percent(advice.habit_probability_no_jump),
                expected=words.metres(advice.habit_expected_m, 2),
                toes=words.attempts(advice.n_toes),
                distances=words.attempts(advice.n_distances),
            ),
        ),
    ]


def _would_change(advice: AimAdvice) -> list[str]:
    changes = []
    later = advice.while_no_better_m[1:]
    if later:
        aims = ", ".join(words.centimetres(each) for each in later)
        text = (
            _("The next results. While nothing valid is scored, the aims after this one: {aims}.")
            if advice.best_m is None
            else _("The next results. While nothing better is scored, the aims after this: {aims}.")
        )
        changes.append(text.format(aims=aims))
    changes.append(_("How many attempts are left, and the best distance so far."))
    return changes
