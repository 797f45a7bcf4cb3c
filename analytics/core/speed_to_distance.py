"""What a faster run-up is worth to this athlete, and how much distance counts as a change."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from analytics.core import believed_line, conventions
from analytics.core.conventions import DEFAULT_LEVEL, FloatArray, Interval

USUAL_SLOPE_M = 0.8
"""Metres for each m/s within one long jumper (Bridgett, Galloway & Linthorne 2002, ISBS)."""

SPEED_SPREAD_MPS = 0.3
"""How widely true speeds of one session may spread: half of a normal distribution with this SD
(our judgement)."""

_SPEED_NODES = 25


class Event(StrEnum):
    """What is jumped."""

    LONG_JUMP = "long_jump"
    TRIPLE_JUMP = "triple_jump"


SLOPE_SD_M = {Event.LONG_JUMP: 0.3, Event.TRIPLE_JUMP: 0.6}
"""How much athletes differ about the usual slope (our judgement). Nothing was read of the triple
jump: the long jump's slope is believed half as firmly of it."""

CHANGE_CV = {Event.LONG_JUMP: 0.024, Event.TRIPLE_JUMP: 0.017}
"""Coefficient of variation of one athlete from competition to competition (Hopkins 2005,
Sportscience 9:17-20)."""

ATTEMPT_CV = {Event.LONG_JUMP: 0.018, Event.TRIPLE_JUMP: 0.013}
"""Usual SD of one attempt of a session about the line, over the distance: 0.12 m of 6.5 m in the
long jump, less in the triple jump by the ratio of `CHANGE_CV` (our judgement)."""


@dataclass(frozen=True, slots=True)
class SpeedToDistance:
    """What speed is worth.

    Attributes
    ----------
    n, n_sessions
        Attempts with speed and distance in sessions that have two or more of them, which alone say
        something of the slope, and those sessions.
    slope_m, slope_interval
        Metres of effective distance for each m/s.
    probability_positive
        That more speed means more distance.
    own_share
        From 0 to 1, how much these attempts have told; below 0.5 the slope is more what is usual
        than the athlete's own.
    reliability
        Share of the variance of measured speeds that is true: the rest is the clock.
    attempt_sd_m
        SD of one attempt about the line.
    smallest_change_m
        Smallest worthwhile change of distance.
    speed_for_it_mps, speed_for_it_interval
        Speed that it takes, by the slope; None where the slope may be 0 or less.
    """

    n: int
    n_sessions: int
    slope_m: float
    slope_interval: Interval
    probability_positive: float
    own_share: float
    reliability: float
    attempt_sd_m: float
    smallest_change_m: float
    speed_for_it_mps: float | None
    speed_for_it_interval: Interval | None


def speed_to_distance(
    effective_m: npt.ArrayLike,
    speed_mps: npt.ArrayLike,
    *,
    session: npt.ArrayLike,
    speed_sd_mps: npt.ArrayLike,
    usual_distance_m: float,
    event: Event = Event.LONG_JUMP,
    level: float = DEFAULT_LEVEL,
) -> SpeedToDistance:
    """Say what speed is worth to this athlete.

    Parameters
    ----------
    effective_m
        Shape (n,), official distance and toe-to-board distance together; NaN where not known.
    speed_mps
        Shape (n,), mean speed between 6 and 1 m before the take-off line; NaN where not known.
    session
        Shape (n,), labels. Attempts are compared within a session: wind, form and runway of the
        day move distances for other reasons than speed.
    speed_sd_mps
        One number or shape (n,), timing error of the speeds (SD): what changes from attempt to
        attempt of it.
    usual_distance_m
        What the athlete jumps, above 0: it scales the usual spread and the smallest worthwhile
        change.
    event
        Long jump or triple jump.
    level
        Of the intervals.

    Returns
    -------
    SpeedToDistance
        With no attempts it is what is usual, with the interval of that.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, a timing error that is negative or missing beside a
        known speed, a distance that is no jump's (0.1 to 100 m), a level outside (0, 1).

    Notes
    -----
    `believed_line.fit_line` of distance on speed, each session with a level of its own. Belief: the
    slope is normal about `USUAL_SLOPE_M` with SD `SLOPE_SD_M`.

    The clock's error spreads measured speeds without moving distances, which flattens the line: on
    average its slope is the true one times the reliability, ``R = tau^2 / (tau^2 + sigma_v^2)``,
    tau the SD of true speeds within sessions. What a measured speed says of the true one is R of
    its distance from the session's mean (regression calibration: Carroll, Ruppert, Stefanski &
    Crainiceanu, Measurement Error in Nonlinear Models, from memory), so the line is fitted on
    that. tau is not known either: the line is a mixture over it, by how well it explains the
    spread of the measured speeds, and the distances. Where all of that spread may be the clock, the
    slope stays what is usual.

    Smallest worthwhile change: half of `CHANGE_CV` of the usual distance.

    Edge cases: an attempt without speed or distance, or alone in its session, is left out. An error
    of 0 needs no correction. Distances are taken as measured: rounding down to 0.01 m is small
    beside their spread.

    Source: see the constants of this module.

    Examples
    --------
    >>> found = speed_to_distance(
    ...     [], [], session=[], speed_sd_mps=0.08, usual_distance_m=7.0
    ... )
    >>> round(found.slope_m, 2), round(found.smallest_change_m, 3), round(found.speed_for_it_mps, 3)
    (0.8, 0.084, 0.105)
    """
    conventions.check_level(level)
    event = Event(event)
    distance, speed, error = _check(effective_m, speed_mps, speed_sd_mps)
    if not 0.1 <= usual_distance_m <= 100:
        raise ValueError(f"usual_distance_m must be a jump's, in metres, got {usual_distance_m}")
    labels = conventions.group_by(session, n=int(speed.size)).index
    known = ~np.isnan(distance) & ~np.isnan(speed)
    if np.any(np.isnan(error[known])):
        raise ValueError("each known speed needs its timing error")
    # Who jumps alone in a session is compared with nobody.
    known &= np.bincount(labels, weights=known, minlength=1)[labels] >= 2
    distance, speed, error, labels = distance[known], speed[known], error[known], labels[known]

    belief = believed_line.Belief(
        slope=USUAL_SLOPE_M,
        slope_sd=SLOPE_SD_M[event],
        attempt_sd=ATTEMPT_CV[event] * usual_distance_m,
    )
    noise = float(np.mean(error**2)) if error.size else 0.0
    true_sd, log_weight = _true_spreads(speed, labels, noise)
    reliability = np.ones(true_sd.size)
    if noise > 0:
        reliability = true_sd**2 / (true_sd**2 + noise)
    lines = [
        believed_line.fit_line(distance, share * speed, belief=belief, levels=labels)
        for share in reliability
    ]
    line = believed_line.mix(lines, log_weight)
    joint = log_weight + np.array([each.log_evidence for each in lines])
    weight = np.exp(joint - joint.max())

    slope = believed_line.slope_mean(line)
    interval = believed_line.slope_interval(line, level=level)
    change = CHANGE_CV[event] / 2 * usual_distance_m
    needed, needed_interval = None, None
    if interval.low > 0:
        needed = change / slope
        needed_interval = Interval(change / interval.high, change / interval.low, level)
    return SpeedToDistance(
        n=line.n,
        n_sessions=int(np.unique(labels).size),
        slope_m=slope,
        slope_interval=interval,
        probability_positive=max(0.0, 1 - believed_line.slope_below(line, 0.0)),
        own_share=min(max(1 - (believed_line.slope_sd(line) / belief.slope_sd) ** 2, 0.0), 1.0),
        reliability=min(float(weight @ reliability / weight.sum()), 1.0),  # not above by rounding
        attempt_sd_m=believed_line.attempt_sd(line),
        smallest_change_m=change,
        speed_for_it_mps=needed,
        speed_for_it_interval=needed_interval,
    )


def _true_spreads(
    speed: FloatArray, labels: conventions.IntArray, noise: float
) -> tuple[FloatArray, FloatArray]:
    """Return SDs that true speeds may have within sessions, and the logarithm of their weight."""
    groups = conventions.group_by(labels, n=int(speed.size))
    left = conventions.centred(speed, groups)
    df = int(speed.size) - groups.n_groups

    def log_weight(sd: FloatArray) -> FloatArray:
        variance = np.maximum(sd**2 + noise, np.finfo(np.float64).tiny)
        log = -0.5 * df * np.log(variance) - 0.5 * float(left @ left) / variance
        return np.asarray(log - 0.5 * (sd / SPEED_SPREAD_MPS) ** 2)

    widest = 5 * SPEED_SPREAD_MPS + 3 * float(np.sqrt(left @ left / max(df, 1)))
    low, high = 0.0, widest
    for _ in range(4):
        places = np.linspace(low, high, 60)
        log = log_weight(places)
        inside = np.flatnonzero(log > log.max() - 14)
        step = places[1] - places[0]
        low = max(places[inside[0]] - step, 0.0)
        high = places[inside[-1]] + step
    places = np.linspace(low, high, _SPEED_NODES)
    ends = np.zeros(_SPEED_NODES)
    ends[[0, -1]] = np.log(0.5)
    return places, log_weight(places) + ends


def _check(
    effective_m: npt.ArrayLike, speed_mps: npt.ArrayLike, speed_sd_mps: npt.ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    distance = np.asarray(effective_m, dtype=np.float64)
    speed = np.asarray(speed_mps, dtype=np.float64)
    error = np.asarray(speed_sd_mps, dtype=np.float64)
    if distance.ndim != 1 or speed.shape != distance.shape or error.shape not in {(), speed.shape}:
        raise ValueError(
            f"each distance needs a speed and its error, got shapes "
            f"{distance.shape}, {speed.shape} and {error.shape}"
        )
    for name, values in (("effective_m", distance), ("speed_mps", speed), ("speed_sd_mps", error)):
        conventions.check_not_infinite(values, name=name)
    if np.any(error < 0):
        raise ValueError("speed_sd_mps must be 0 or more")
    return distance, speed, np.broadcast_to(error, speed.shape)
