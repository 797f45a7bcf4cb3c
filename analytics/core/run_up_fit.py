"""Whether a run-up fits the runway at hand, and how many steps to begin with."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from analytics.core import run_up_lengths
from analytics.core.length_settings import PAIR_OF_STEPS, usual_steps
from analytics.core.run_up_design import RunUpDesign
from analytics.core.run_up_model import Footfalls
from analytics.core.run_up_pace import FEWEST_STEPS, StartStyle

ROOM_BEHIND_M = {StartStyle.STANDING: 0.5, StartStyle.WALK_IN: 3.0, StartStyle.RUN_IN: 6.0}
"""Runway that is needed behind the start mark to stand, walk or run up to it; ours."""


class Fit(StrEnum):
    """Whether a run-up fits: surely, perhaps, not, or nobody said how long the runway is."""

    FITS = "fits"
    TIGHT = "tight"
    TOO_LONG = "too_long"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class RunwayFit:
    """How a run-up lies on a runway.

    Attributes
    ----------
    fit
        Tight: the start mark as it stands fits, the farthest that it may turn out to be does not.
    runway_m
        From the take-off line to the beginning of the runway; None where nobody said.
    room_behind_m
        That the way to start needs behind the start mark.
    needed_m, needed_at_most_m
        From the take-off line, with that room: for the start mark, and for the far end of its
        interval.
    most_steps
        Where it is too long: most steps, fewer by pairs, whose start mark fits; None where no
        run-up does.
    """

    fit: Fit
    runway_m: float | None
    room_behind_m: float
    needed_m: float
    needed_at_most_m: float
    most_steps: int | None


def fit_runway(design: RunUpDesign, footfalls: Footfalls, *, runway_m: float | None) -> RunwayFit:
    """Say whether a run-up fits the runway at hand.

    Parameters
    ----------
    design
        The run-up.
    footfalls
        That it was laid out from; a shorter one is made of their first steps.
    runway_m
        From the take-off line to the beginning of the runway; None where nobody said.

    Raises
    ------
    ValueError
        A runway without length.

    Notes
    -----
    Shorter by pairs, so that the same foot starts. Room behind the mark: `ROOM_BEHIND_M`, ours.

    Examples
    --------
    >>> from analytics.core.run_up_design import design_run_up
    >>> from analytics.core.run_up_model import StepFrequency, model_footfalls
    >>> from analytics.core.run_up_pace import RunUpSettings, Sprint, run_up_pace
    >>> profile, settings = Sprint(9.2, 1.15), RunUpSettings(steps=16)
    >>> footfalls = model_footfalls(profile, StepFrequency(), settings)
    >>> design = design_run_up(footfalls, run_up_pace(profile, settings), settings)
    >>> [fit_runway(design, footfalls, runway_m=each).fit.value for each in (40, 28, 20, None)]
    ['fits', 'tight', 'too_long', 'unknown']
    >>> fit_runway(design, footfalls, runway_m=20).most_steps
    12
    """
    if runway_m is not None and not 0 < runway_m < float("inf"):
        raise ValueError(f"runway_m must be above 0 and finite, got {runway_m}")
    room = ROOM_BEHIND_M[design.settings.start_style]
    needed = design.start_mark_m + room
    at_most = design.start_mark_interval.high + room
    most = None
    if runway_m is None:
        fit = Fit.UNKNOWN
    elif needed > runway_m:
        fit = Fit.TOO_LONG
        most = _most_steps(design, footfalls, within_m=runway_m - room)
    else:
        fit = Fit.FITS if at_most <= runway_m else Fit.TIGHT
    return RunwayFit(
        fit=fit,
        runway_m=runway_m,
        room_behind_m=room,
        needed_m=needed,
        needed_at_most_m=at_most,
        most_steps=most,
    )


def _most_steps(design: RunUpDesign, footfalls: Footfalls, *, within_m: float) -> int | None:
    for steps in range(design.settings.steps - PAIR_OF_STEPS, FEWEST_STEPS - 1, -PAIR_OF_STEPS):
        shorter = run_up_lengths.first_steps(footfalls, steps=steps)
        start_m = design.settings.aim_m + shorter.toe_m[-1] - shorter.toe_m[0]
        if round(float(start_m), 2) <= within_m:
            return steps
    return None


def propose_steps(age_years: float) -> int:
    """Return how many steps to begin with at an age.

    Parameters
    ----------
    age_years
        Of the athlete.

    Raises
    ------
    ValueError
        An age that is not positive and finite.

    Notes
    -----
    The fewest that are usual at the age (`length_settings.usual_steps`), because more steps are
    more speed, and are earned with steadiness. A child has no more than its years, by an even
    number (coaching articles: about as many steps as years up to 14; common practice, no
    evidence). An even number lets the take-off foot stand on the mark.

    Examples
    --------
    >>> [propose_steps(age) for age in (8.5, 11.0, 12.5, 15, 17, 24)]
    [8, 10, 12, 14, 16, 18]
    """
    fewest, _ = usual_steps(age_years)
    years = int(age_years) // PAIR_OF_STEPS * PAIR_OF_STEPS
    return max(min(fewest, years), FEWEST_STEPS)
