"""Where the feet of a run-up will land, from how the athlete sprints and steps."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analytics.core import run_up_pace
from analytics.core.conventions import FloatArray
from analytics.core.run_up_pace import LastThree, Pace, RunUpSettings, SprintLike


@dataclass(frozen=True, slots=True)
class StepFrequency:
    """Steps a second, rising evenly from the first step to a step from which they stay.

    Attributes
    ----------
    top_hz
        Step frequency at speed; 4.3 is our judgement where nobody counted.
    first_share
        Share of it in the first step.
    top_step
        The step, counted from the start, that first has all of it.
    """

    top_hz: float = 4.3
    first_share: float = 0.8
    top_step: int = 6


@dataclass(frozen=True, slots=True)
class ModelDoubt:
    """SDs of what the model takes for granted. Ours.

    Attributes
    ----------
    speed
        Of the speed that the run-up tends to, as a share.
    effort
        Of the first acceleration, as a share.
    frequency
        Of the top step frequency, as a share.
    first_share
        Of the first step's share of it.
    entered_s
        Of the time by which the athlete is ahead on the speed curve at the start mark.
    habit_m
        Of each step by itself: what no curve says of this athlete. Above 0, or attempts could not
        move one position without moving all.
    """

    speed: float = 0.04
    effort: float = 0.10
    frequency: float = 0.06
    first_share: float = 0.05
    entered_s: float = 0.08
    habit_m: float = 0.03


MEASURED_SPRINT = ModelDoubt()
"""For a sprint that was timed well."""


@dataclass(frozen=True, slots=True)
class Footfalls:
    """Where the feet land in an athlete's natural run-up to the aim, and how sure that is.

    Attributes
    ----------
    toe_m
        Shape (n + 1,): k = 0 the take-off foot, on the aim; k = n the start mark.
    covariance_m2
        Shape (n + 1, n + 1): of these positions, zero for the take-off foot.
    n_attempts
        Attempts behind it; 0: from the model alone.
    """

    toe_m: FloatArray
    covariance_m2: FloatArray
    n_attempts: int = 0

    @property
    def sd_m(self) -> FloatArray:
        """Shape (n + 1,): SD of each position."""
        return np.asarray(np.sqrt(np.diag(self.covariance_m2)))


def doubt_of_fit(
    covariance: tuple[float, float, float], *, doubt: ModelDoubt = MEASURED_SPRINT
) -> ModelDoubt:
    """Return the doubt where the sprint itself is known only so well.

    Parameters
    ----------
    covariance
        Of the logarithms of M and tau: variance, covariance, variance (`SprintProfile.covariance`).
    doubt
        With a sprint that is known well.

    Raises
    ------
    ValueError
        Variances below 0, or a covariance that does not go with them.

    Notes
    -----
    The first acceleration is M / tau, so its relative variance is that of ``log M - log tau``. That
    the errors of both hang together is left out.

    Examples
    --------
    >>> known = doubt_of_fit((0.0009, 0.0015, 0.0036), doubt=ModelDoubt(speed=0.04, effort=0.10))
    >>> round(known.speed, 3), round(known.effort, 3)
    (0.05, 0.107)
    """
    speed, both, rise = covariance
    if not (speed >= 0 and rise >= 0 and both**2 <= speed * rise * (1 + 1e-9)):
        raise ValueError(f"not the covariance of two values: {covariance}")
    return replace(
        doubt,
        speed=float(np.hypot(doubt.speed, np.sqrt(speed))),
        effort=float(np.sqrt(doubt.effort**2 + max(speed - 2 * both + rise, 0.0))),
    )


def model_footfalls(
    profile: SprintLike,
    frequency: StepFrequency,
    settings: RunUpSettings,
    *,
    doubt: ModelDoubt = MEASURED_SPRINT,
) -> Footfalls:
    """Return where the feet will land, before any attempt was seen.

    Parameters
    ----------
    profile
        How the athlete sprints from a standstill.
    frequency
        How quickly the athlete steps.
    settings
        How the run-up is wanted.
    doubt
        How far each of these may be from the truth.

    Returns
    -------
    Footfalls
        With `n_attempts` 0.

    Raises
    ------
    ValueError
        Values outside their range; settings that would let a step have no length.

    Notes
    -----
    Step i from the start takes ``1 / f_i``, f rising evenly from the first step to the
    `top_step`-th (Nagahara et al. 2014, Biol Open 3:689-699: the step frequency stops rising at
    the first of two transitions; at the 4th to 6th step from memory). From a standstill the
    push-off comes on top.
    The metres run in these times, laid out back from the aim, are the positions; the last three
    steps share their metres in the wanted rhythm.

    What the feet do before and behind the body's centre is left out: it is much the same from step
    to step once the athlete runs upright.

    The covariance is that of the settings' doubts, each by its slope (central differences), and of
    the habit of each step, added up from the board back.

    Examples
    --------
    >>> from analytics.core.run_up_pace import Sprint
    >>> footfalls = model_footfalls(
    ...     Sprint(9.2, 1.15), StepFrequency(), RunUpSettings(steps=16)
    ... )
    >>> footfalls.toe_m[[0, 1, 2, 16]].round(2).tolist(), footfalls.sd_m[[0, 16]].round(1).tolist()
    ([0.06, 1.91, 3.97, 26.42], [0.0, 2.4])
    """
    _check_frequency(frequency)
    pace = run_up_pace.run_up_pace(profile, settings)
    # In the order of the fields of `ModelDoubt`; the habit of the steps is no curve's.
    sds = np.array([doubt.speed, doubt.effort, doubt.frequency, doubt.first_share, doubt.entered_s])
    if not (np.all(np.isfinite(sds)) and sds.min() >= 0 and 0 < doubt.habit_m < float("inf")):
        raise ValueError("each doubt must be finite and 0 or more, and habit_m above 0")

    def toe(moved: FloatArray) -> FloatArray:
        return _positions(pace, frequency, settings, moved=moved)

    slopes = np.column_stack(
        [(toe(way) - toe(-way)) / (2 * _SMALL) for way in _SMALL * np.eye(sds.size)]
    )
    habits = doubt.habit_m**2 * np.arange(settings.steps + 1)
    return Footfalls(
        toe_m=toe(np.zeros(sds.size)),
        covariance_m2=(slopes * sds**2) @ slopes.T + np.minimum.outer(habits, habits),
    )


def in_rhythm(toe_m: FloatArray, rhythm: LastThree | None) -> FloatArray:
    """Return the footfalls with the last three steps in a rhythm, their sum kept.

    Parameters
    ----------
    toe_m
        Shape (n + 1,), k = 0 the take-off foot; n at least 3.
    rhythm
        None: as they are.

    Raises
    ------
    ValueError
        A rhythm with a part that is not above 0, or one of which a part is more than twice another:
        no run-up has such steps.

    Examples
    --------
    >>> in_rhythm(np.array([0.06, 2.0, 4.0, 6.36]), LastThree(1.0, 1.1, 0.9)).round(2).tolist()
    [0.06, 1.95, 4.26, 6.36]
    """
    if rhythm is None:
        return toe_m
    parts = np.array([rhythm.last, rhythm.penultimate, rhythm.third])
    if not (np.all(np.isfinite(parts)) and parts.min() > 0):
        raise ValueError(f"each part of the rhythm must be above 0, got {parts.tolist()}")
    if parts.max() > 2 * parts.min():
        raise ValueError(f"no step is twice as long as its neighbours, got {parts.tolist()}")
    laid = np.array(toe_m, dtype=np.float64)
    laid[1:3] = laid[0] + (laid[3] - laid[0]) * np.cumsum(parts)[:2] / parts.sum()
    return laid


_SMALL = 1e-4
"""Step of the central differences, as a share or in seconds."""


def _positions(
    pace: Pace, frequency: StepFrequency, settings: RunUpSettings, *, moved: FloatArray
) -> FloatArray:
    """Return the footfalls where speed, effort, frequencies and entry are moved by so much."""
    speed, effort, top, first, entered = moved
    start = run_up_pace.start_of(settings)
    walks = start.entry_speed_mps > 0
    # The first acceleration is the effort's alone, and the speed at the start mark stays.
    tau = pace.rise_time_s * (1 + speed) / (1 + effort)
    curve = run_up_pace.entered_at(
        start.entry_speed_mps, top_speed_mps=pace.top_speed_mps * (1 + speed), rise_time_s=tau
    )
    if walks:
        curve = replace(curve, entered_s=max(curve.entered_s + entered, 0.0))
    rising = np.minimum(np.arange(settings.steps) / max(frequency.top_step - 1, 1), 1.0)
    first_share = frequency.first_share + first
    hz = frequency.top_hz * (1 + top) * (first_share + rising * (1 - first_share))
    at = start.push_s + (0.0 if walks else entered) + np.cumsum(1 / hz)
    run = np.concatenate([[0.0], run_up_pace.run_after(curve, at)])
    return in_rhythm(settings.aim_m + (run[-1] - run)[::-1], settings.rhythm)


def _check_frequency(frequency: StepFrequency) -> None:
    rules = {
        "top_hz must be above 0 and finite": 0 < frequency.top_hz < float("inf"),
        # With less the first step would outgrow the others, with none it would never end.
        "first_share must lie above 0.3 and be no more than 1": 0.3 < frequency.first_share <= 1,
        "top_step must be 1 or more": frequency.top_step >= 1,
    }
    for rule, holds in rules.items():
        if not holds:
            raise ValueError(rule)
