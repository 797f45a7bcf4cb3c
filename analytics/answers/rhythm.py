"""Is the rhythm of the last steps held, and which attempts had chopped or reaching steps?"""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import told, words
from analytics.answers.told import Reason, Told
from analytics.core import last_steps, needed_made, step_faults
from analytics.core.conventions import BoolArray, FloatArray, NotEnoughAttempts
from analytics.core.last_steps import LastSteps, MeanOf
from analytics.core.needed_made import NeededMade
from analytics.selectors import RunUps


@dataclass(frozen=True, slots=True, eq=False)
class Flagged:
    """An attempt with chopped or reaching steps; `z` of steps 1 to 5."""

    attempt: UUID
    stutter: bool
    over_stride: bool
    z: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Faults:
    """Attempts of the latest plan revision with chopped or reaching steps.

    Attributes
    ----------
    n
        Attempts judged.
    has_times
        Touchdown times were measured; without them no attempt is flagged.
    habitual_short_steps
        Of steps 1 to 5: usually much shorter than planned.
    """

    n: int
    has_times: bool
    n_stutters: int
    n_over_strides: int
    habitual_short_steps: BoolArray
    flagged: Sequence[Flagged]


@dataclass(frozen=True, slots=True, eq=False)
class Rhythm:
    """The figures of the answer."""

    last_steps: LastSteps | NotEnoughAttempts
    planned_contacts: tuple[str, ...]
    step_faults: Faults | NotEnoughAttempts


def work_out(run_ups: RunUps) -> Rhythm:
    """Return the rhythm of the last three steps, and the attempts that fell out of it."""
    marks = run_ups.latest_marks()
    contacts = marks.last_contacts if marks is not None else ()
    contacts = contacts or tuple(each.value for each in last_steps.DEFAULT_CONTACTS)
    return Rhythm(
        last_steps=last_steps.last_steps(
            _at_least_four(run_ups.toe_m),
            touchdown_s=_at_least_four(run_ups.touchdown_s),
            toe_off_s=_at_least_four(run_ups.toe_off_s),
            contact=run_ups.contacts,
            planned_contacts=contacts,
            revision=run_ups.revisions,
        ),
        planned_contacts=contacts,
        step_faults=_faults(run_ups.of_latest_revision()),
    )


def _at_least_four(footfalls: FloatArray) -> FloatArray:
    """Return footfalls of a run-up of two steps as if a third one had not been measured."""
    missing = max(0, 4 - footfalls.shape[1])
    return np.pad(footfalls, ((0, 0), (0, missing)), constant_values=np.nan)


def _faults(run_ups: RunUps) -> Faults | NotEnoughAttempts:
    marks = run_ups.latest_marks()
    steering = needed_made.needed_and_made(run_ups.toe_m)
    found = step_faults.step_faults(
        run_ups.toe_m,
        touchdown_s=run_ups.touchdown_s,
        planned_toe_m=None if marks is None else marks.toe_m,
        gain=None if isinstance(steering, NotEnoughAttempts) else _shown_gain(steering),
    )
    if isinstance(found, NotEnoughAttempts):
        return found
    return Faults(
        n=found.n,
        has_times=bool(np.isfinite(run_ups.touchdown_s).any()),
        n_stutters=found.n_stutters,
        n_over_strides=found.n_over_strides,
        habitual_short_steps=found.habitual_short_steps,
        flagged=[
            Flagged(
                attempt=run_ups.ids[int(place)],
                stutter=bool(found.stutter[place]),
                over_stride=bool(found.over_stride[place]),
                z=found.z[place],
            )
            for place in np.flatnonzero(found.stutter | found.over_stride)
        ],
    )


def _shown_gain(steering: NeededMade) -> FloatArray:
    """Return the gain of each step that is shown to steer, and 0 of the others.

    A step that is short where a longer one was needed corrected nothing, and excuses nothing.
    """
    return np.where(steering.gain_low > 0, steering.gain, 0.0)


def tell(found: Rhythm) -> Told:
    """Say how the last steps go, and how often they fell out of their rhythm."""
    last = found.last_steps
    if isinstance(last, NotEnoughAttempts):
        return told.not_enough(last, what=_("with something measured of the last three steps"))
    sentences = [*_lengths(last), *_contacts(found, last), *_fault_sentences(found.step_faults)]
    return Told(
        text=" ".join(sentences),
        reasons=tuple(_reasons(last)),
        would_change=tuple(_would_change(found)),
    )


def _lengths(last: LastSteps) -> list[str]:
    sentences = []
    longer = last.penultimate_longer_percent
    if isinstance(longer, MeanOf):
        text = (
            _("The last but one step is {percent}% longer than the last.")
            if longer.mean >= 0
            else _("The last but one step is {percent}% shorter than the last.")
        )
        sentences.append(text.format(percent=words.number(abs(longer.mean))))
    if last.n_lengths:
        sentences.append(
            _("The usual medium, long, short came in {hits} of {n} attempts.").format(
                hits=last.n_medium_long_short, n=last.n_lengths
            )
        )
    return sentences


def contact_name(contact: str) -> str:
    """Return how a foot meets the ground, as it is called in a sentence."""
    return {"ball": _("ball"), "flat": _("flat"), "heel": _("heel")}[contact]


def _contacts(found: Rhythm, last: LastSteps) -> list[str]:
    if not last.n_contacts:
        return []
    return [
        _(
            "The feet met the ground as planned ({first}, {second}, {third}) in {hits} of {n}."
        ).format(
            first=contact_name(found.planned_contacts[0]),
            second=contact_name(found.planned_contacts[1]),
            third=contact_name(found.planned_contacts[2]),
            hits=last.n_contacts_as_planned,
            n=last.n_contacts,
        )
    ]


def _fault_sentences(found: Faults | NotEnoughAttempts) -> list[str]:
    if isinstance(found, NotEnoughAttempts):
        return [
            _(
                "To look for chopped or reaching steps takes {needed} attempts; there are {n}."
            ).format(needed=found.needed, n=found.n)
        ]
    sentences = []
    if not found.has_times:
        sentences.append(
            _("Without touchdown times nobody can tell chopped or reaching steps from others.")
        )
    elif not found.flagged:
        sentences.append(_("Of {n} attempts none had chopped or reaching steps.").format(n=found.n))
    else:
        sentences.append(
            _(
                "Of {n} attempts {stutters} had chopped steps before the board and {over_strides} "
                "a reaching step."
            ).format(n=found.n, stutters=found.n_stutters, over_strides=found.n_over_strides)
        )
    habitual = np.flatnonzero(found.habitual_short_steps) + 1
    if habitual.size:
        sentences.append(
            _(
                "Much shorter than planned as a habit (the last one is step 1): step {numbers}."
            ).format(numbers=", ".join(words.number(int(each)) for each in habitual))
        )
    return sentences


def _reasons(last: LastSteps) -> list[Reason]:
    longer = last.penultimate_longer_percent
    if isinstance(longer, NotEnoughAttempts):
        return []
    return [
        Reason(
            code="penultimate_longer",
            numbers={
                "n": longer.n,
                "mean_percent": longer.mean,
                "low_percent": longer.interval.low,
                "high_percent": longer.interval.high,
                "sd_percent": longer.sd,
            },
            text=_(
                "From {n} attempts: the last but one step is between {low}% and {high}% longer "
                "than the last (minus: shorter). In elite women it was {elite}% (Panoutsakopoulos "
                "et al. 2021)."
            ).format(
                n=longer.n,
                low=words.number(longer.interval.low),
                high=words.number(longer.interval.high),
                elite=words.number(12.2, 1),
            ),
        )
    ]


def _would_change(found: Rhythm) -> list[str]:
    changes = []
    if isinstance(found.last_steps, LastSteps) and not found.last_steps.n_contacts:
        changes.append(
            _("Somebody who watches how the feet meet the ground in the last three steps.")
        )
    if isinstance(found.step_faults, Faults) and not found.step_faults.has_times:
        changes.append(_("Touchdown times."))
    return changes
