"""Short, medium and full run-up of one athlete: the same first steps, other last ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analytics.core import run_up_design
from analytics.core.run_up_design import USUAL_CHOICE, MarkChoice, RunUpDesign
from analytics.core.run_up_model import Footfalls
from analytics.core.run_up_pace import FEWEST_STEPS, Pace, RunUpSettings


def first_steps(footfalls: Footfalls, *, steps: int) -> Footfalls:
    """Return the run-up that has only the first so many steps of another.

    Parameters
    ----------
    footfalls
        Of the long run-up.
    steps
        Of the short one.

    Raises
    ------
    ValueError
        Fewer than four steps, or more than the long run-up has.

    Notes
    -----
    A short run-up starts as the full one does, so its steps are the full one's first ones and what
    was learned of these holds for it. The last three are then laid in the wanted rhythm.

    Examples
    --------
    >>> full = Footfalls(np.array([0.06, 2, 4.2, 6.2, 8.1, 9.8, 11.2, 12.2]), np.zeros((8, 8)))
    >>> first_steps(full, steps=4).toe_m.round(2).tolist()
    [0.06, 1.96, 3.66, 5.06, 6.06]
    """
    long = footfalls.toe_m.size - 1
    if not FEWEST_STEPS <= steps <= long:
        raise ValueError(f"steps must lie between {FEWEST_STEPS} and {long}, got {steps}")
    left_out = long - steps
    # Each place of the short run-up is a place of the long one less where the short one ends.
    less = np.eye(long + 1)[left_out:]
    less[:, left_out] -= 1.0
    return Footfalls(
        toe_m=footfalls.toe_m[0] + less @ footfalls.toe_m,
        covariance_m2=less @ footfalls.covariance_m2 @ less.T,
        n_attempts=footfalls.n_attempts,
    )


def short_and_medium(steps: int) -> tuple[int, ...]:
    """Return the steps of a short and a medium run-up to a full one.

    Notes
    -----
    About half and three quarters of the steps, by an even number fewer, so that the same foot
    starts; ours. Those below four steps or as long as the next are left out.

    Examples
    --------
    >>> short_and_medium(16), short_and_medium(17), short_and_medium(6)
    ((8, 12), (9, 13), (4,))
    """
    wanted = [steps - 2 * max(round(steps * less / 2), 1) for less in (0.5, 0.25)]
    return tuple(sorted({each for each in wanted if each >= FEWEST_STEPS}))


def design_lengths(
    footfalls: Footfalls, pace: Pace, settings: RunUpSettings, *, choice: MarkChoice = USUAL_CHOICE
) -> tuple[RunUpDesign, ...]:
    """Lay out the short, the medium and the full run-up, the shortest first.

    Each has its own start mark, check marks and ground markers for the last three footfalls: the
    longer the run-up, the faster, and the longer the last steps.

    Raises
    ------
    ValueError
        As `run_up_design.design_run_up`.

    Examples
    --------
    >>> from analytics.core.run_up_model import StepFrequency, model_footfalls
    >>> from analytics.core.run_up_pace import RunUpSettings, Sprint, run_up_pace
    >>> profile, settings = Sprint(9.2, 1.15), RunUpSettings(steps=16)
    >>> laid = design_lengths(
    ...     model_footfalls(profile, StepFrequency(), settings),
    ...     run_up_pace(profile, settings),
    ...     settings,
    ... )
    >>> [(each.settings.steps, each.start_mark_m) for each in laid]
    [(8, 11.28), (12, 18.64), (16, 26.42)]
    >>> [each.last_three_m for each in laid]
    [(3.35, 1.61, 0.06), (3.78, 1.82, 0.06), (3.97, 1.91, 0.06)]
    """
    # A mark that was chosen for the full run-up may lie outside of a shorter one.
    shorter = replace(choice, coach_footfall=None, early_run_m=None)
    return tuple(
        run_up_design.design_run_up(
            first_steps(footfalls, steps=steps),
            pace,
            replace(settings, steps=steps),
            choice=choice if steps == settings.steps else shorter,
        )
        for steps in (*short_and_medium(settings.steps), settings.steps)
    )
