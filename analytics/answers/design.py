"""How shall a run-up be laid out: start mark, check marks, phases, the last three footfalls?"""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from analytics.answers import told, words
from analytics.answers.designing import Design, Wish, work_out
from analytics.answers.drawing import RestsOn
from analytics.answers.laid_out import LaidOut, Place
from analytics.answers.natural import Basis, Lack
from analytics.answers.speed import mps
from analytics.answers.told import Reason, Told
from analytics.core.run_up_design import ROUGH_M
from analytics.core.run_up_fit import Fit, RunwayFit
from analytics.core.run_up_pace import FEWEST_STEPS, StartStyle

__all__ = ["Design", "Wish", "note", "tell", "work_out"]

_STARTS = {
    StartStyle.STANDING: lambda: _("from a standstill"),
    StartStyle.WALK_IN: lambda: _("walking in"),
    StartStyle.RUN_IN: lambda: _("running in"),
}
FEET = {"left": lambda: _("the left foot"), "right": lambda: _("the right foot")}


def tell(found: Design) -> Told:
    """Say where to put the marks, and how sure that is."""
    if found.design is None or found.rests_on is None or found.runway is None:
        return _not_yet(found)
    return Told(
        text=" ".join(
            [
                _start(found, found.design),
                _sureness(found.rests_on, found.design),
                *_check_marks(found.design),
                _last_three(found.design),
                _speed(found.design),
                _runway(found.runway),
            ]
        ),
        reasons=tuple(_reasons(found, found.rests_on, found.runway)),
        would_change=tuple(_would_change(found.rests_on, found.runway)),
        caution=told.caution(),
    )


def note(found: Design) -> str:
    """Return why a plan was made from it, for whoever reads it next season."""
    rests = found.rests_on
    if rests is None:
        raise ValueError("nothing was designed")
    if rests.n_attempts:
        return _("Designed from {attempts} and {basis}.").format(
            attempts=words.attempts(rests.n_attempts), basis=_basis(rests)
        )
    return _("Designed from {basis}.").format(basis=_basis(rests))


def _start(found: Design, design: LaidOut) -> str:
    if design.start_foot is not None:
        foot = FEET[design.start_foot]()
    else:
        foot = _("the take-off foot") if design.steps % 2 == 0 else _("the other foot")
    on_mark = _("{foot} on it").format(foot=foot)
    return _(
        "With {steps} {start}, aiming {aim}, the start mark goes to {place}, {on_mark}."
    ).format(
        steps=words.steps(design.steps),
        start=_STARTS[found.start_style](),
        aim=words.place(found.aim_m),
        place=_place(design.start_mark),
        on_mark=on_mark,
    )


def _place(place: Place) -> str:
    feet = _("{feet} ft {inches} in").format(
        feet=words.number(place.feet), inches=words.quarters(place.inches)
    )
    metres = words.metres(place.at_m, 2)
    if place.shoe_lengths is None:
        return _("{metres} ({feet})").format(metres=metres, feet=feet)
    return _("{metres} ({feet}, {shoes} shoe lengths)").format(
        metres=metres, feet=feet, shoes=words.halves(place.shoe_lengths)
    )


def _sureness(rests: RestsOn, design: LaidOut) -> str:
    interval = design.start_mark_interval
    between = _("It lies between {low} and {high}, as far as that can be said from {what}.").format(
        low=words.metres(max(interval.low, 0.0)),
        high=words.metres(interval.high),
        what=_("{attempts} and {basis}").format(
            attempts=words.attempts(rests.n_attempts), basis=_basis(rests)
        )
        if rests.n_attempts
        else _basis(rests),
    )
    if (interval.high - interval.low) / 2 <= ROUGH_M:
        return between
    return " ".join(
        [
            between,
            _(
                "So it is a first guess: run through beside the runway or without the board, and "
                "measure where the feet land."
            ),
        ]
    )


def _basis(rests: RestsOn) -> str:
    if rests.basis is Basis.GIVEN_SPRINT:
        return _("the sprint that was given")
    if rests.basis is Basis.STORED_SPRINT and rests.sprint_date is not None:
        return _("the sprint test of {day}").format(day=words.day(rests.sprint_date))
    return _("age and height alone")


def _check_marks(design: LaidOut) -> list[str]:
    sentences = []
    marks = [
        (words.metres(mark.place.at_m, 2), words.steps(mark.steps_after_start))
        for mark in design.check_marks
    ]
    if len(marks) == 2:
        (early, early_steps), (late, late_steps) = marks
        sentences.append(
            _("Check marks: {early} after {early_steps}, {late} after {late_steps}.").format(
                early=early, early_steps=early_steps, late=late, late_steps=late_steps
            )
        )
    elif marks:
        ((place, steps),) = marks
        sentences.append(_("Check mark: {place} after {steps}.").format(place=place, steps=steps))
    if design.phases:
        acceleration, transition, attack = design.phases
        sentences.append(
            _(
                "First {acceleration} to build up speed, then {transition} to run tall, then "
                "{attack} to attack."
            ).format(
                acceleration=words.steps(acceleration.steps),
                transition=words.number(transition.steps),
                attack=words.number(attack.steps),
            )
        )
    return sentences


def _last_three(design: LaidOut) -> str:
    third, penultimate, last = (words.metres(place.at_m, 2) for place in design.last_three)
    return _("The last three footfalls lie at {third}, {penultimate} and {last}.").format(
        third=third, penultimate=penultimate, last=last
    )


def _speed(design: LaidOut) -> str:
    return _("At the board the speed is about {speed}.").format(speed=mps(design.board_speed_mps))


def _runway(runway: RunwayFit) -> str:
    needed = words.metres(runway.needed_m)
    if runway.runway_m is None:
        return _(
            "Measure the runway first: with room to start behind the mark this needs {needed}."
        ).format(needed=needed)
    there = words.metres(runway.runway_m)
    if runway.fit is Fit.FITS:
        return _("The runway of {there} is long enough.").format(there=there)
    if runway.fit is Fit.TIGHT:
        return _(
            "The runway of {there} may turn out too short: {at_most} would be needed at most."
        ).format(there=there, at_most=words.metres(runway.needed_at_most_m))
    too_short = _(
        "The runway is too short: there are {there}, and with room to start behind the mark "
        "this needs {needed}."
    ).format(there=there, needed=needed)
    if runway.most_steps is None:
        return too_short
    return " ".join(
        [
            too_short,
            _("A run-up of {steps} fits.").format(steps=words.steps(runway.most_steps)),
        ]
    )


def _not_yet(found: Design) -> Told:
    wants = []
    if Lack.SPRINT in found.lacking:
        wants.append(
            _(
                "Not enough is known of how fast the athlete is: time a sprint from a standing or "
                "block start with four splits or more, or give age and height."
            )
        )
    if Lack.STEPS in found.lacking:
        wants.append(
            _("Say how many steps the run-up shall have.")
            if found.steps is None
            else _("A run-up of {steps} is too short to be laid out: it needs {needed}.").format(
                steps=words.steps(found.steps), needed=words.number(FEWEST_STEPS)
            )
        )
    if found.splits_unread:
        wants.append(_unread())
    return Told(
        text=" ".join(wants),
        reasons=tuple(
            Reason(code=f"lacking_{each.value}", numbers={"n": 0}, text=_LACKING[each]())
            for each in found.lacking
        ),
        would_change=(
            _("A sprint with splits at 5, 10, 20 and 30 m, stored as a sprint test or given here."),
        ),
        caution=told.caution(),
    )


_LACKING = {
    Lack.SPRINT: lambda: _("No sprint is known that tells a speed curve."),
    Lack.AGE: lambda: _("The age is not known, or below eight years."),
    Lack.HEIGHT: lambda: _("The height is not known."),
    Lack.STEPS: lambda: _("The number of steps is not known, or too small."),
}


def _unread() -> str:
    return _(
        "The splits that were given tell no speed curve of a sprint: four or more are needed, "
        "from a start and not flying, five where a signal or a gate started the clock."
    )


def _reasons(found: Design, rests: RestsOn, runway: RunwayFit) -> list[Reason]:
    interval = rests.top_speed_interval
    reasons = [
        Reason(
            code=rests.basis.value,
            numbers={
                "top_speed_mps": rests.top_speed_mps,
                "top_speed_low_mps": None if interval is None else interval.low,
                "top_speed_high_mps": None if interval is None else interval.high,
                "rise_time_s": rests.rise_time_s,
                "step_frequency_hz": rests.step_frequency_hz,
                "splits": rests.splits,
            },
            text=_("By {basis} the top speed is {speed}.").format(
                basis=_basis(rests), speed=mps(rests.top_speed_mps)
            ),
        )
    ]
    if rests.own_share is not None:
        reasons.append(
            Reason(
                code="attempts",
                numbers={
                    "n": rests.n_attempts,
                    "n_sessions": rests.n_sessions,
                    "own_share": rests.own_share,
                },
                text=_(
                    "Where the feet land is shown by {attempts}, which took {share} of the doubt "
                    "about the start mark away."
                ).format(
                    attempts=words.attempts(rests.n_attempts),
                    share=words.percent(rests.own_share),
                ),
            )
        )
    if found.proposed and found.steps is not None:
        numbers = {"steps": found.steps}
        if found.usual_steps is not None:
            numbers |= {"usual_low": found.usual_steps[0], "usual_high": found.usual_steps[1]}
        reasons.append(
            Reason(
                code="steps_proposed",
                numbers=numbers,
                text=_(
                    "The number of steps is a proposal: {number} are few for the age, to begin "
                    "with. More steps are more speed, and are earned with steadiness."
                ).format(number=words.number(found.steps)),
            )
        )
    reasons.append(
        Reason(
            code="runway",
            numbers={
                "needed_m": runway.needed_m,
                "needed_at_most_m": runway.needed_at_most_m,
                "room_behind_m": runway.room_behind_m,
                "runway_m": runway.runway_m,
            },
            text=_runway(runway),
        )
    )
    return reasons


def _would_change(rests: RestsOn, runway: RunwayFit) -> list[str]:
    changes = []
    if rests.splits_unread:
        changes.append(_unread())
    if rests.basis is Basis.AGE_AND_HEIGHT:
        changes.append(_("A timed sprint: age and height say little of one athlete."))
    if rests.n_too_far:
        changes.append(
            ngettext(
                "{n} attempt fits no run-up near this sprint, and was not used: see whether the "
                "start mark it names is right.",
                "{n} attempts fit no run-up near this sprint, and were not used: see whether the "
                "start marks they name are right.",
                rests.n_too_far,
            ).format(n=rests.n_too_far)
        )
    if not rests.n_attempts:
        changes.append(
            _("Three full run-ups or more from one stored run-up, with footfalls measured.")
        )
    else:
        changes.append(_("Another session from the new mark: ask again after it."))
    if runway.runway_m is None:
        changes.append(_("The length of the runway, measured from the take-off line."))
    changes.append(_("A growth of 2 cm or more, or another way to start."))
    return changes
