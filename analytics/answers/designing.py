"""A run-up for an athlete, worked out from what is known: the figures of `design`."""

from dataclasses import dataclass, replace
from typing import Any

from analytics.answers import drawing, natural
from analytics.answers.drawing import Drawn, RestsOn
from analytics.answers.laid_out import LaidOut
from analytics.answers.natural import NOTHING_GIVEN, Given, Lack, Unknown
from analytics.core import length_settings, run_up_design, run_up_fit, run_up_lengths
from analytics.core.conventions import DEFAULT_AIM_M
from analytics.core.run_up_design import USUAL_CHOICE, MarkChoice, RunUpDesign
from analytics.core.run_up_fit import Fit, RunwayFit
from analytics.core.run_up_model import Footfalls
from analytics.core.run_up_pace import (
    FEWEST_STEPS,
    USUAL_RHYTHM,
    LastThree,
    RunUpSettings,
    StartStyle,
)
from analytics.selectors import Jumper, OwnRunUp
from common.errors import Fault, InvalidInputError

LONG_JUMP = "long_jump"
# A plan takes no other start marks.
START_MARKS_M = (2.0, 80.0)


@dataclass(frozen=True, slots=True)
class Wish:
    """What the coach wants of the run-up.

    Attributes
    ----------
    steps
        None: propose a number.
    aim_m
        None: that of the stored run-up's plan, else the usual one.
    take_off_foot, shoe_length_m
        Where not stored.
    """

    given: Given = NOTHING_GIVEN
    steps: int | None = None
    start_style: StartStyle = StartStyle.STANDING
    aim_m: float | None = None
    rhythm: LastThree = USUAL_RHYTHM
    start_effort: float = 0.95
    speed_share: float = 0.95
    choice: MarkChoice = USUAL_CHOICE
    runway_m: float | None = None
    take_off_foot: str | None = None
    shoe_length_m: float | None = None


@dataclass(frozen=True, slots=True)
class Design:
    """The figures of the answer.

    Attributes
    ----------
    proposed
        The number of steps is a proposal.
    usual_steps
        Fewest and most that are usual at the athlete's age in the long jump; None where not known.
    design
        The run-up; None where too little is known.
    lengths
        Short and medium, its own beginning, and the full run-up.
    lacking
        What would be needed; empty with a design. A sprint can replace age and height.
    plan
        The body of a plan with these marks.
    """

    steps: int | None
    proposed: bool
    usual_steps: tuple[int, int] | None
    start_style: StartStyle
    aim_m: float
    design: LaidOut | None
    lengths: tuple[LaidOut, ...]
    runway: RunwayFit | None
    rests_on: RestsOn | None
    lacking: tuple[Lack, ...]
    splits_unread: bool
    plan: dict[str, Any] | None


def work_out(wish: Wish, jumper: Jumper | None = None, own: OwnRunUp | None = None) -> Design:
    """Return a run-up for an athlete, or for whoever ran the sprint of the question.

    With a stored run-up its steps and its start hold, and its attempts teach where the feet land.

    Raises
    ------
    InvalidInputError
        A wanted check mark lies outside the run-up, or the start mark beyond what a plan takes.
    """
    age_years = wish.given.age_years or (jumper.age_years if jumper else None)
    is_young_enough = age_years is not None and 0 < age_years <= natural.OLDEST_YEARS
    usual = None
    if age_years is not None and is_young_enough and (own is None or own.event == LONG_JUMP):
        usual = length_settings.usual_steps(age_years)
    steps = wish.steps if own is None else own.steps
    proposed = steps is None and is_young_enough
    if steps is None and age_years is not None and is_young_enough:
        steps = run_up_fit.propose_steps(age_years)
    style = wish.start_style if own is None else StartStyle(own.start_style)
    nature = natural.nature_of(jumper, wish.given)
    run_ups = None if own is None else own.run_ups
    lacking = nature.lacking if isinstance(nature, Unknown) else ()
    if steps is None or steps < FEWEST_STEPS:
        lacking = (*lacking, Lack.STEPS)
    empty = Design(
        steps=steps,
        proposed=proposed,
        usual_steps=usual,
        start_style=style,
        aim_m=_aim(wish, own),
        design=None,
        lengths=(),
        runway=None,
        rests_on=None,
        lacking=lacking,
        splits_unread=nature.splits_unread,
        plan=None,
    )
    if isinstance(nature, Unknown) or steps is None or lacking:
        return empty
    settings = RunUpSettings(
        steps=steps,
        start_style=style,
        aim_m=empty.aim_m,
        start_effort=wish.start_effort,
        speed_share=wish.speed_share,
        rhythm=wish.rhythm,
    )
    drawn = drawing.draw(nature, settings, run_ups)
    if proposed and wish.runway_m is not None:
        fit = _fit(drawn, wish.runway_m)
        if fit.fit is Fit.TOO_LONG and fit.most_steps is not None:
            drawn = drawing.draw(nature, replace(settings, steps=fit.most_steps), run_ups)
    return _laid(empty, wish, drawn, jumper)


def _aim(wish: Wish, own: OwnRunUp | None) -> float:
    if wish.aim_m is not None:
        return wish.aim_m
    marks = None if own is None else own.run_ups.marks_now
    return DEFAULT_AIM_M if marks is None else marks.aim_m


def _laid(empty: Design, wish: Wish, drawn: Drawn, jumper: Jumper | None) -> Design:
    _check_choice(wish.choice, drawn.footfalls)
    designs = run_up_lengths.design_lengths(
        drawn.footfalls, drawn.pace, drawn.settings, choice=wish.choice
    )
    full = designs[-1]
    least_m, most_m = START_MARKS_M
    if not least_m <= full.start_mark_m <= most_m:
        raise InvalidInputError(
            faults=[
                Fault(
                    "/steps",
                    "start_mark_out_of_range",
                    f"The start mark would stand at {full.start_mark_m:.2f} m; a plan takes"
                    f" {least_m:g} to {most_m:g} m.",
                )
            ]
        )
    lengths = drawing.lay_out_all(
        designs,
        drawn.pace,
        take_off_foot=wish.take_off_foot or (jumper.take_off_foot if jumper else None),
        shoe_length_m=wish.shoe_length_m or (jumper.shoe_length_m if jumper else None),
    )
    return replace(
        empty,
        steps=drawn.settings.steps,
        design=lengths[-1],
        lengths=lengths,
        runway=_fit(drawn, wish.runway_m, full),
        rests_on=drawn.rests_on,
        plan=drawing.plan_body(run_up_design.plan_marks(full)),
    )


def _fit(drawn: Drawn, runway_m: float | None, design: RunUpDesign | None = None) -> RunwayFit:
    if design is None:
        design = run_up_design.design_run_up(drawn.footfalls, drawn.pace, drawn.settings)
    return run_up_fit.fit_runway(design, drawn.footfalls, runway_m=runway_m)


def _check_choice(choice: MarkChoice, footfalls: Footfalls) -> None:
    """Refuse check marks outside the run-up, as its number of steps has it."""
    faults = []
    steps = footfalls.toe_m.size - 1
    if choice.coach_footfall is not None and choice.coach_footfall >= steps - 2:
        faults.append(
            Fault(
                "/coach_footfall",
                "footfall_out_of_range",
                f"With {steps} steps the coach's check mark is met by a footfall up to"
                f" {steps - 3}: two steps come before it.",
            )
        )
    run_m = float(footfalls.toe_m[-1] - footfalls.toe_m[0])
    if choice.early_run_m is not None and choice.early_run_m >= run_m:
        faults.append(
            Fault(
                "/early_run_m",
                "mark_off_run_up",
                f"The run-up is {run_m:.2f} m long: a check mark stands within it.",
            )
        )
    if faults:
        raise InvalidInputError(faults=faults)
