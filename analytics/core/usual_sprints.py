"""What to start from when nobody has timed an athlete's sprint: age and height. Rough."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import constants

from analytics.core.run_up_model import ModelDoubt, StepFrequency
from analytics.core.run_up_pace import Sprint

YOUNGEST_YEARS = 8.0
"""Younger children should not be given a run-up by a formula; ours."""

_AGES_YEARS = (8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0)
_MAX_SPEEDS_MPS = (5.7, 6.3, 6.9, 7.5, 8.0, 8.3, 8.5)
"""Of club athletes, girls and boys together; our judgement, no source."""

USUAL_RISE_TIME_S = 1.0
"""Our judgement."""

_STEP_BASE = 0.87
_STEP_PER_FROUDE = 0.146
"""Step length as a share of height, on a line of the speed made comparable between short and tall
athletes, v / sqrt(g h). Our line through three points: the last five steps of boys of 12 to 13
years, 8.7 m (Panteli, Theodorou & Smirniotou; 6.9 m/s and 1.53 m of height are from memory), and
the mean step of the first two of the 100 m of Berlin 2009, 40.92 and 45.94 steps in 9.43 and 9.57 s
(Graubner & Nixdorf 2011, as reported; heights of 1.95 and 1.81 m)."""


@dataclass(frozen=True, slots=True)
class UsualSprint:
    """What athletes of an age and a height are like, more or less.

    Attributes
    ----------
    profile
        How they sprint.
    frequency
        Step frequency.
    doubt
        How far an athlete may be from it, for `run_up_model.model_footfalls`.
    """

    profile: Sprint
    frequency: StepFrequency
    doubt: ModelDoubt


_ROUGH = ModelDoubt(
    speed=0.09, effort=0.18, frequency=0.08, first_share=0.05, entered_s=0.08, habit_m=0.03
)


def usual_sprint(age_years: float, height_m: float) -> UsualSprint:
    """Return what to start from when nobody has timed the athlete.

    Parameters
    ----------
    age_years
        8 or more; from 20 on all is as at 20.
    height_m
        Between 1.00 and 2.30 m.

    Raises
    ------
    ValueError
        Outside of these.

    Notes
    -----
    The top speed comes from age, between points that are our judgement; girls and boys are not
    told apart, because an athlete's record does not. The step comes from speed and height,
    ``h (0.87 + 0.146 v / sqrt(g h))``, and the frequency is ``v / step``. The SDs (9 % of speed,
    18 % of the first acceleration, 8 % of the frequency) are ours as well: a start mark that comes
    from this is good for a first run-through and nothing else. Time a sprint as soon as you can.

    Examples
    --------
    >>> usual = usual_sprint(12.0, 1.53)
    >>> round(usual.profile.top_speed_mps, 1), round(usual.frequency.top_hz, 1)
    (6.9, 4.0)
    """
    if not YOUNGEST_YEARS <= age_years < float("inf"):
        raise ValueError(f"age_years must be {YOUNGEST_YEARS:.0f} or more, got {age_years}")
    if not 1.0 <= height_m <= 2.3:
        raise ValueError(f"height_m must lie between 1.00 and 2.30, got {height_m}")
    speed = float(np.interp(age_years, _AGES_YEARS, _MAX_SPEEDS_MPS))
    return UsualSprint(
        profile=Sprint(speed, USUAL_RISE_TIME_S),
        frequency=StepFrequency(top_hz=speed / usual_step(speed, height_m)),
        doubt=_ROUGH,
    )


def usual_step(speed_mps: float, height_m: float) -> float:
    """Return the usual step length of a sprint at a speed.

    Raises
    ------
    ValueError
        A speed or a height that is not above 0 and finite.

    Notes
    -----
    ``h (0.87 + 0.146 v / sqrt(g h))``: our line, good to some 8 %.

    Examples
    --------
    >>> round(usual_step(6.9, 1.53), 2), round(usual_step(9.5, 1.80), 2)
    (1.73, 2.16)
    """
    if not (0 < speed_mps < float("inf") and 0 < height_m < float("inf")):
        raise ValueError(
            f"speed and height must be above 0 and finite, got {speed_mps} and {height_m}"
        )
    relative = speed_mps / np.sqrt(constants.g * height_m)
    return float(height_m * (_STEP_BASE + _STEP_PER_FROUDE * relative))
