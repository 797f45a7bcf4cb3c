"""What should a pair of steps more bring, by the athlete's sprint alone?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analytics.core import cautions, conventions, sprint_curve
from analytics.core.conventions import DEFAULT_LEVEL, Interval

PAIR_M = 4.2
"""Metres that a pair of steps takes late in the run-up: twice 2.1 m (ours)."""

DISTANCE_PER_SPEED_S = 0.8
DISTANCE_PER_SPEED_SD_S = 0.3
"""Metres of distance for each m/s of run-up speed within an athlete: 0.08 m for 0.1 m/s (Bridgett,
Galloway & Linthorne 2002, abstract); how much athletes differ in it is our judgement."""


@dataclass(frozen=True, slots=True)
class ExpectedGain:
    """What a pair of steps more should bring by the sprint alone, before anything was tried.

    Attributes
    ----------
    speed_mps
        In a full sprint over the present run-up.
    speed_gain_mps, distance_gain_m
        By a pair of steps more.
    distance_gain_interval
        As far as nobody knows what speed is worth to this athlete.
    caution
        To be shown with it.
    """

    speed_mps: float
    speed_gain_mps: float
    distance_gain_m: float
    distance_gain_interval: Interval
    caution: str


def expect_gain(
    *,
    top_speed_mps: float,
    rise_time_s: float,
    run_m: float,
    level: float = DEFAULT_LEVEL,
) -> ExpectedGain:
    """Say what a pair of steps more should bring by the athlete's sprint, before it was tried.

    Parameters
    ----------
    top_speed_mps, rise_time_s
        M and tau of the sprint profile (`sprint_profile.fit_profile`).
    run_m
        Metres from the start mark to the board.
    level
        Of the interval.

    Raises
    ------
    ValueError
        Numbers that are not positive and finite, a level outside (0, 1).

    Notes
    -----
    ``(v(x + 4.2 m) - v(x)) x 0.8 m per m/s``, v(x) the speed of the sprint after x metres
    (`sprint_curve.speed_after`). The interval takes 0.8 as normal with an SD of 0.3 and the sprint
    as known. It counts on an athlete who runs up as in a sprint and hits the board all the same:
    what a longer run-up costs in accuracy is not in it.

    Source: Furusawa, Hill & Parkinson 1927 and Samozino et al. 2016 for the sprint (abstracts),
    Bridgett, Galloway & Linthorne 2002 for the worth of speed (abstract).

    Examples
    --------
    >>> found = expect_gain(top_speed_mps=10.0, rise_time_s=1.2, run_m=20.0)
    >>> round(found.speed_mps, 2), round(found.speed_gain_mps, 2), round(found.distance_gain_m, 2)
    (9.25, 0.23, 0.19)
    """
    conventions.check_level(level)
    for name, number in (
        ("top_speed_mps", top_speed_mps),
        ("rise_time_s", rise_time_s),
        ("run_m", run_m),
    ):
        if not 0 < number < np.inf:
            raise ValueError(f"{name} must be positive and finite, got {number}")
    now, later = sprint_curve.speed_after(
        [run_m, run_m + PAIR_M], top_speed_mps=top_speed_mps, rise_time_s=rise_time_s
    ).tolist()
    gain = later - now
    half = float(stats.norm.ppf(0.5 + level / 2)) * DISTANCE_PER_SPEED_SD_S
    return ExpectedGain(
        speed_mps=now,
        speed_gain_mps=gain,
        distance_gain_m=gain * DISTANCE_PER_SPEED_S,
        distance_gain_interval=Interval(
            low=gain * (DISTANCE_PER_SPEED_S - half),
            high=gain * (DISTANCE_PER_SPEED_S + half),
            level=level,
        ),
        caution=cautions.COACH_DECIDES,
    )
