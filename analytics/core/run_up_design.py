"""A run-up on the runway: start mark, check marks, phases, markers for the last footfalls."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypedDict

import numpy as np
from scipy import stats

from analytics.core import conventions, run_up_model, run_up_pace
from analytics.core.cautions import COACH_DECIDES
from analytics.core.conventions import FloatArray, Interval
from analytics.core.run_up_model import Footfalls
from analytics.core.run_up_pace import Pace, RunUpSettings
from analytics.core.spread import PhaseStarts

SHORTEST_RUNWAY_M = 40.0
"""A runway is at least as long (World Athletics Technical Rules)."""

ROUGH_M = 0.50
"""A start mark whose interval reaches farther to either side is called rough; ours."""

USUAL_CONTACTS = ("ball", "flat", "flat")
"""Of the third-last, the penultimate and the take-off foot (common practice, no source)."""

_ROUGH = (
    "The start mark is rough: let the athlete run through beside the runway or without the board"
    " first, and measure where the feet land."
)
_BEYOND_RUNWAY = (
    "The run-up needs more than 40 m, the least that the rules ask of a runway: measure it first."
)


@dataclass(frozen=True, slots=True)
class MarkChoice:
    """Where the check marks and the phases are wanted.

    Attributes
    ----------
    early_steps
        Steps from the start to the early check mark; None for no such mark.
    early_run_m
        Instead of it: metres from the start that the early check mark should be near.
    coach_footfall
        Steps from the coach's check mark to take-off, where the attack begins; None: 6 in run-ups
        of 14 steps and more, else 4.
    """

    early_steps: int | None = 5
    early_run_m: float | None = None
    coach_footfall: int | None = None


USUAL_CHOICE = MarkChoice()


@dataclass(frozen=True, slots=True)
class CheckMark:
    """A mark beside the runway that a footfall should meet.

    Attributes
    ----------
    footfall
        Steps before take-off.
    at_m
        From the take-off line, to the centimetre.
    sd_m
        SD of that place.
    run_m
        From the start mark.
    take_off_foot
        Whether the take-off foot meets it, or the other.
    """

    footfall: int
    at_m: float
    sd_m: float
    run_m: float
    take_off_foot: bool


class PlanMarks(TypedDict):
    """What a plan holds, under the plan's names."""

    start_mark_m: float
    aim_m: float
    check_marks: list[dict[str, float]]
    transition_footfall: int | None
    attack_footfall: int | None
    toe_m: list[float]
    last_contacts: list[str]


@dataclass(frozen=True, slots=True)
class RunUpDesign:
    """A designed run-up.

    Attributes
    ----------
    settings
        What was wanted.
    n_attempts
        Attempts behind it; 0: from the model alone.
    toe_m, sd_m
        Shape (n + 1,): footfalls, k = 0 the take-off foot, k = n the start mark; SD of each.
    step_m, step_time_s, speed_mps
        Shape (n,): length, time and mean speed of steps 1 to n, step 1 the last.
    board_speed_mps
        Speed at take-off before it is lost into the jump.
    start_mark_m, start_mark_interval
        Where the run-up begins, to the centimetre, and the range of 95 % about it.
    take_off_foot_on_mark
        Whether the take-off foot stands on the start mark: so with an even number of steps.
    early_mark, coach_mark
        Check marks; None where the run-up is too short for them.
    phase_starts
        Footfalls at which transition and attack begin; None where the run-up is too short.
    cautions
        To be shown with it.
    """

    settings: RunUpSettings
    n_attempts: int
    toe_m: FloatArray
    sd_m: FloatArray
    step_m: FloatArray
    step_time_s: FloatArray
    speed_mps: FloatArray
    board_speed_mps: float
    start_mark_m: float
    start_mark_interval: Interval
    take_off_foot_on_mark: bool
    early_mark: CheckMark | None
    coach_mark: CheckMark | None
    phase_starts: PhaseStarts | None
    cautions: tuple[str, ...]

    @property
    def last_three_m(self) -> tuple[float, float, float]:
        """Where ground markers for the third-last, the penultimate and the take-off foot lie."""
        third, penultimate, last = (round(float(self.toe_m[k]), 2) for k in (2, 1, 0))
        return third, penultimate, last

    @property
    def check_marks(self) -> tuple[CheckMark, ...]:
        """The check marks in the order in which they are passed."""
        return tuple(mark for mark in (self.early_mark, self.coach_mark) if mark is not None)


def design_run_up(
    footfalls: Footfalls, pace: Pace, settings: RunUpSettings, *, choice: MarkChoice = USUAL_CHOICE
) -> RunUpDesign:
    """Lay a run-up out on the runway.

    Parameters
    ----------
    footfalls
        Of the model or the athlete's own (`run_up_model`, `run_up_learning`), for as many steps as
        are wanted.
    pace
        How fast it is run (`run_up_pace.run_up_pace`).
    settings
        What is wanted; its rhythm is laid over the last three steps.
    choice
        Where check marks are wanted.

    Returns
    -------
    RunUpDesign
        With the cautions that belong to it.

    Raises
    ------
    ValueError
        Another number of footfalls than the settings want, a check mark outside the run-up.

    Notes
    -----
    - **Start mark**: footfall n; another aim than that of the footfalls moves all of them.
      **Parity**: footfall n is made by the take-off foot where n is even.
    - **Early check mark**: the fifth footfall after the start, n - 5, or the one nearest to a
      wanted distance (10 to 15 m from the start is common practice, no source); left out where it
      would come within a step of the coach's mark.
    - **Coach's check mark**: 4 or 6 steps from take-off, passed by the take-off foot (common
      practice, no source). Run-ups below 8 steps have none.
    - **Phases**: the attack begins at the coach's mark (in triple jump the second phase starts 6
      to 4 steps out; Hutt, New Studies in Athletics). The transition begins at the sixth footfall
      after the start, where the step frequency has stopped rising (Nagahara et al. 2014), or two
      steps before the attack in a short run-up.
    - **Times and speeds** are those of the pace at the metres run, whatever the footfalls rest on.

    Examples
    --------
    >>> from analytics.core.run_up_model import StepFrequency, model_footfalls
    >>> from analytics.core.run_up_pace import RunUpSettings, Sprint, run_up_pace
    >>> profile, settings = Sprint(9.2, 1.15), RunUpSettings(steps=16)
    >>> design = design_run_up(
    ...     model_footfalls(profile, StepFrequency(), settings),
    ...     run_up_pace(profile, settings),
    ...     settings,
    ... )
    >>> design.start_mark_m, design.take_off_foot_on_mark, round(design.board_speed_mps, 2)
    (26.42, True, 8.5)
    >>> [(mark.footfall, mark.at_m) for mark in design.check_marks], design.last_three_m
    ([(11, 20.14), (6, 11.6)], (3.97, 1.91, 0.06))
    """
    n = settings.steps
    if footfalls.toe_m.size != n + 1:
        raise ValueError(f"{n} steps need {n + 1} footfalls, got {footfalls.toe_m.size}")
    moved = footfalls.toe_m + (settings.aim_m - footfalls.toe_m[0])
    toe = run_up_model.in_rhythm(moved, settings.rhythm)
    sd = footfalls.sd_m
    run = toe[-1] - toe
    time = run_up_pace.time_after(pace, run)
    step, step_time = np.diff(toe), -np.diff(time)
    coach = _coach_footfall(n, choice)
    early = _early_footfall(run, choice, beyond=0 if coach is None else coach + 1)
    half = float(stats.norm.ppf(0.5 + conventions.DEFAULT_LEVEL / 2) * sd[-1])
    start = float(toe[-1])
    cautions = [COACH_DECIDES]
    if half > ROUGH_M:
        cautions.append(_ROUGH)
    if start > SHORTEST_RUNWAY_M:
        cautions.append(_BEYOND_RUNWAY)
    return RunUpDesign(
        settings=settings,
        n_attempts=footfalls.n_attempts,
        toe_m=toe,
        sd_m=sd,
        step_m=step,
        step_time_s=step_time,
        speed_mps=step / step_time,
        board_speed_mps=float(run_up_pace.speed_after(pace, run[0])),
        start_mark_m=round(start, 2),
        start_mark_interval=Interval(start - half, start + half, conventions.DEFAULT_LEVEL),
        take_off_foot_on_mark=n % 2 == 0,
        early_mark=None if early is None else _check_mark(toe, sd, early),
        coach_mark=None if coach is None else _check_mark(toe, sd, coach),
        phase_starts=None if coach is None else PhaseStarts(max(n - 6, coach + 2), coach),
        cautions=tuple(cautions),
    )


def plan_marks(design: RunUpDesign) -> PlanMarks:
    """Return a design as the marks of a plan, to the centimetre.

    Notes
    -----
    A plan lists its footfalls from the start mark to take-off, the other way round than here.

    Examples
    --------
    >>> from analytics.core.run_up_model import StepFrequency, model_footfalls
    >>> from analytics.core.run_up_pace import RunUpSettings, Sprint, run_up_pace
    >>> profile, settings = Sprint(9.2, 1.15), RunUpSettings(steps=16)
    >>> design = design_run_up(
    ...     model_footfalls(profile, StepFrequency(), settings),
    ...     run_up_pace(profile, settings),
    ...     settings,
    ... )
    >>> marks = plan_marks(design)
    >>> marks["start_mark_m"], marks["transition_footfall"], marks["toe_m"][-2:]
    (26.42, 10, [1.91, 0.06])
    """
    starts = design.phase_starts
    return PlanMarks(
        start_mark_m=design.start_mark_m,
        aim_m=design.settings.aim_m,
        check_marks=[{"footfall": mark.footfall, "at_m": mark.at_m} for mark in design.check_marks],
        transition_footfall=None if starts is None else starts.transition,
        attack_footfall=None if starts is None else starts.attack,
        toe_m=[round(float(place), 2) for place in design.toe_m[::-1]],
        last_contacts=list(USUAL_CONTACTS),
    )


def _coach_footfall(n: int, choice: MarkChoice) -> int | None:
    if choice.coach_footfall is not None:
        if not 0 < choice.coach_footfall < n - 2:
            raise ValueError(
                f"the coach's check mark must lie within the run-up of {n} steps with two steps"
                f" before it, got footfall {choice.coach_footfall}"
            )
        return choice.coach_footfall
    if n < 8:
        return None
    return 6 if n >= 14 else 4


def _early_footfall(run: FloatArray, choice: MarkChoice, *, beyond: int) -> int | None:
    n = run.size - 1
    if choice.early_run_m is not None:
        if not 0 < choice.early_run_m < run[0]:
            raise ValueError(f"early_run_m must lie within the run-up, got {choice.early_run_m}")
        footfall = int(np.argmin(np.abs(run[1:n] - choice.early_run_m))) + 1
    elif choice.early_steps is not None:
        if choice.early_steps < 1:
            raise ValueError(f"early_steps must be 1 or more, got {choice.early_steps}")
        footfall = n - choice.early_steps
    else:
        return None
    return footfall if footfall > max(beyond, 2) else None


def _check_mark(toe: FloatArray, sd: FloatArray, footfall: int) -> CheckMark:
    at = round(float(toe[footfall]), 2)
    return CheckMark(
        footfall=footfall,
        at_m=at,
        sd_m=float(sd[footfall]),
        run_m=float(toe[-1] - toe[footfall]),
        take_off_foot=footfall % 2 == 0,
    )
