"""How a run-up is wanted, and the speed curve that follows from it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

import numpy as np
import numpy.typing as npt

from analytics.core import sprint_curve
from analytics.core.conventions import DEFAULT_AIM_M, FloatArray

FEWEST_STEPS = 4
MOST_STEPS = 30
"""Steps that a run-up may have here: below four there is nothing before the last three."""


QUICKEST_S = 0.1
"""No athlete's rise time is as short; ours."""


class SprintLike(Protocol):
    """What is needed of a sprint profile: a fitted one serves as it is."""

    @property
    def top_speed_mps(self) -> float:
        """M of ``M (t + tau (exp(-t / tau) - 1))``."""

    @property
    def rise_time_s(self) -> float:
        """tau."""


@dataclass(frozen=True, slots=True)
class Sprint:
    """How an athlete sprints from a standstill, see `sprint_curve`.

    Attributes
    ----------
    top_speed_mps, rise_time_s
        M and tau; M / tau is the first acceleration.
    """

    top_speed_mps: float
    rise_time_s: float


class StartStyle(StrEnum):
    """How a run-up begins."""

    STANDING = "standing"
    WALK_IN = "walk_in"
    RUN_IN = "run_in"


@dataclass(frozen=True, slots=True)
class Start:
    """What happens at the start mark.

    Attributes
    ----------
    entry_speed_mps
        Speed at the start mark.
    push_s
        How long the athlete pushes off from a standstill before the first step's own time.
    """

    entry_speed_mps: float
    push_s: float = 0.0


USUAL_STARTS = {
    StartStyle.STANDING: Start(0.0, push_s=0.25),
    StartStyle.WALK_IN: Start(2.0),
    StartStyle.RUN_IN: Start(4.0),
}
"""Our judgement. The push lets a full-effort first step come to what is published of block starts;
people change from walking to running near 2 m/s (from memory)."""


@dataclass(frozen=True, slots=True)
class LastThree:
    """Wanted lengths of the last three steps, in proportion: medium, long, short.

    Attributes
    ----------
    third, penultimate, last
        Of the third-last, the penultimate and the last step.
    """

    third: float = 1.06
    penultimate: float = 1.12
    last: float = 1.0


USUAL_RHYTHM = LastThree()
"""The penultimate 12 % longer than the last (Panoutsakopoulos et al. 2021, elite women: 12.2 ± 2.8
%); the third-last halfway between is our judgement."""


@dataclass(frozen=True, slots=True)
class RunUpSettings:
    """What the coach wants of a run-up.

    Attributes
    ----------
    steps
        From the start mark to take-off.
    start_style
        How it begins.
    aim_m
        Toe-to-board distance that is wanted.
    start_effort
        First acceleration as a share of the sprint's; our judgement: a little less than in a
        sprint.
    speed_share
        Speed that it tends to, as a share of the sprint's: jumpers keep a little in hand to control
        the take-off (95 to 99 % from memory).
    rhythm
        Of the last three steps; None: as they come.
    start
        What happens at the start mark; None: what is usual for the style.
    """

    steps: int
    start_style: StartStyle = StartStyle.STANDING
    aim_m: float = DEFAULT_AIM_M
    start_effort: float = 0.95
    speed_share: float = 0.95
    rhythm: LastThree | None = USUAL_RHYTHM
    start: Start | None = None


@dataclass(frozen=True, slots=True)
class Pace:
    """Speed over the run-up, ``M (1 - exp(-t / tau))`` from the moment `entered_s` on.

    Attributes
    ----------
    top_speed_mps, rise_time_s
        M and tau of the run-up, not of the sprint.
    entered_s
        How long before the start mark the athlete was already on this curve.
    """

    top_speed_mps: float
    rise_time_s: float
    entered_s: float = 0.0


def run_up_pace(profile: SprintLike, settings: RunUpSettings) -> Pace:
    """Return the speed curve of a run-up.

    Parameters
    ----------
    profile
        How the athlete sprints.
    settings
        How the run-up is wanted.

    Raises
    ------
    ValueError
        A speed, an effort or a share that is not above 0, a rise time below 0.1 s, an entry
        speed at or above the speed that the run-up tends to, or settings outside their range.

    Notes
    -----
    With share s and effort e the speed tends to ``s M``, and the first acceleration is
    ``e M / tau``, so the rise time is ``tau s / e``. An entry at speed v0 is an entry at the
    moment ``-tau' ln(1 - v0 / M')`` of the curve. Mono-exponential speed: Furusawa, Hill &
    Parkinson 1927, Proc R Soc B 102:29-42.

    Examples
    --------
    >>> pace = run_up_pace(Sprint(10.0, 1.2), RunUpSettings(steps=18, start_effort=0.95))
    >>> pace.top_speed_mps, round(pace.rise_time_s, 2), pace.entered_s
    (9.5, 1.2, 0.0)
    """
    _check(profile, settings)
    top = settings.speed_share * profile.top_speed_mps
    tau = profile.rise_time_s * settings.speed_share / settings.start_effort
    return entered_at(start_of(settings).entry_speed_mps, top_speed_mps=top, rise_time_s=tau)


def entered_at(speed_mps: float, *, top_speed_mps: float, rise_time_s: float) -> Pace:
    """Return the speed curve that is entered at a speed.

    Raises
    ------
    ValueError
        A speed below 0, or one that the curve never reaches.

    Examples
    --------
    >>> round(entered_at(2.0, top_speed_mps=8.0, rise_time_s=1.0).entered_s, 3)
    0.288
    """
    if not 0 <= speed_mps < top_speed_mps:
        raise ValueError(
            f"the entry speed must lie between 0 and {top_speed_mps:.2f} m/s, got {speed_mps}"
        )
    entered = -rise_time_s * np.log1p(-speed_mps / top_speed_mps)
    return Pace(top_speed_mps, rise_time_s, entered_s=float(entered))


def start_of(settings: RunUpSettings) -> Start:
    """Return what happens at the start mark: as wanted, or as is usual for the style.

    Examples
    --------
    >>> start_of(RunUpSettings(steps=16, start_style=StartStyle.WALK_IN)).entry_speed_mps
    2.0
    """
    return USUAL_STARTS[settings.start_style] if settings.start is None else settings.start


def run_after(pace: Pace, time_s: npt.ArrayLike) -> FloatArray:
    """Return the metres run after so many seconds from the start mark.

    Examples
    --------
    >>> run_after(Pace(10.0, 1.2), [0.0, 1.2, 5.0]).round(2).tolist()
    [0.0, 4.41, 38.19]
    """
    time = np.asarray(time_s, dtype=np.float64)
    return np.asarray(_curve_run(pace, pace.entered_s + time) - _curve_run(pace, pace.entered_s))


def time_after(pace: Pace, run_m: npt.ArrayLike) -> FloatArray:
    """Return the seconds from the start mark in which so many metres are run.

    Examples
    --------
    >>> time_after(Pace(10.0, 1.2), [0.0, 4.41, 38.19]).round(2).tolist()
    [0.0, 1.2, 5.0]
    """
    run = np.asarray(run_m, dtype=np.float64) + _curve_run(pace, pace.entered_s)
    time = sprint_curve.time_to(run, top_speed_mps=pace.top_speed_mps, rise_time_s=pace.rise_time_s)
    return np.asarray(time - pace.entered_s)


def speed_after(pace: Pace, run_m: npt.ArrayLike) -> FloatArray:
    """Return the speed after so many metres from the start mark.

    Examples
    --------
    >>> speed_after(Pace(10.0, 1.2), [0.0, 20.0, 40.0]).round(2).tolist()
    [0.0, 9.25, 9.87]
    """
    run = np.asarray(run_m, dtype=np.float64) + _curve_run(pace, pace.entered_s)
    return sprint_curve.speed_after(
        run, top_speed_mps=pace.top_speed_mps, rise_time_s=pace.rise_time_s
    )


def mean_speed(pace: Pace, *, from_run_m: float, to_run_m: float) -> float:
    """Return the mean speed between two places, given as metres run from the start mark.

    Raises
    ------
    ValueError
        Places before the start mark, or the second not beyond the first.

    Examples
    --------
    >>> round(mean_speed(Pace(10.0, 1.2), from_run_m=20.0, to_run_m=25.0), 2)
    9.4
    """
    if not 0 <= from_run_m < to_run_m:
        raise ValueError(f"the run goes from 0 on and forward, got {from_run_m} to {to_run_m}")
    before, after = time_after(pace, [from_run_m, to_run_m])
    return float((to_run_m - from_run_m) / (after - before))


def _curve_run(pace: Pace, time_s: npt.ArrayLike) -> FloatArray:
    run = sprint_curve.distance_run(
        time_s, top_speed_mps=pace.top_speed_mps, rise_time_s=pace.rise_time_s
    )
    return np.maximum(run, 0.0)  # rounding takes the first instant below nought


def _check(profile: SprintLike, settings: RunUpSettings) -> None:
    for name, value in (
        ("top_speed_mps", profile.top_speed_mps),
        ("start_effort", settings.start_effort),
        ("speed_share", settings.speed_share),
    ):
        if not 0 < value < float("inf"):
            raise ValueError(f"{name} must be above 0 and finite, got {value}")
    if not QUICKEST_S <= profile.rise_time_s < float("inf"):
        raise ValueError(f"rise_time_s must be {QUICKEST_S} or more, got {profile.rise_time_s}")
    if not FEWEST_STEPS <= settings.steps <= MOST_STEPS:
        raise ValueError(
            f"steps must lie between {FEWEST_STEPS} and {MOST_STEPS}, got {settings.steps}"
        )
    if not 0 <= settings.aim_m < float("inf"):
        raise ValueError(f"aim_m must be 0 or more and finite, got {settings.aim_m}")
    if not 0 <= start_of(settings).push_s < float("inf"):
        raise ValueError("push_s must be 0 or more and finite")
