"""Does this athlete gain or lose speed into the board? The attempts of a series together."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import components, conventions
from analytics.core.conventions import DEFAULT_LEVEL, Interval, NotEnoughAttempts
from analytics.core.gate_speeds import ZoneSpeeds

MIN_ATTEMPTS = 5
"""Attempts with both zones below which no mean gain is given."""


class GainAnswer(StrEnum):
    """What the mean gain shows."""

    GAINS = "gains"
    LOSES = "loses"
    NOT_SHOWN = "not_shown"


@dataclass(frozen=True, slots=True)
class BoardGain:
    """Mean speeds of the two zones and the gain between them, m/s.

    Attributes
    ----------
    n, n_sessions
        Attempts of which both zones are known, and their sessions.
    n_measured
        Those among them with gates at all three ends; in the others a time is interpolated.
    speed_11_6_mps, speed_6_1_mps, gain_mps
        Means over attempts; the gain is negative where speed is lost into the board.
    gain_interval, gain_standard_error_mps, gain_df
        Student's t; of the mean over sessions where there are enough of them.
    over_sessions
        The interval holds for sessions to come; else for these sessions' own.
    attempt_sd_mps
        SD of the gain from attempt to attempt within a session.
    clock_sd_mps
        What the clock alone makes of it.
    own_sd_mps
        What is left: the athlete. 0 where the clock may make all.
    answer
        Whether the interval is wholly above or below 0.
    """

    n: int
    n_sessions: int
    n_measured: int
    speed_11_6_mps: float
    speed_6_1_mps: float
    gain_mps: float
    gain_interval: Interval
    gain_standard_error_mps: float
    gain_df: float
    over_sessions: bool
    attempt_sd_mps: float
    clock_sd_mps: float
    own_sd_mps: float
    answer: GainAnswer


@dataclass(frozen=True, slots=True)
class MeanSpeed:
    """Mean speed in one zone, m/s.

    Attributes
    ----------
    n, n_sessions, n_measured
        Attempts whose speed is known, their sessions, and those with gates at both ends.
    mean_mps, interval
        Mean over attempts, and Student's t about it; over sessions where there are enough.
    attempt_sd_mps
        SD from attempt to attempt within a session, the clock's error in it.
    timing_sd_mps
        What clock and places of the gates leave open in one attempt.
    """

    n: int
    n_sessions: int
    n_measured: int
    mean_mps: float
    interval: Interval
    attempt_sd_mps: float
    timing_sd_mps: float


def mean_speed(
    speed_mps: npt.ArrayLike,
    *,
    timing_sd_mps: npt.ArrayLike,
    measured: npt.ArrayLike,
    session: npt.ArrayLike,
    level: float = DEFAULT_LEVEL,
) -> MeanSpeed | NotEnoughAttempts:
    """Return how fast a zone is run on average.

    Parameters
    ----------
    speed_mps, timing_sd_mps, measured
        Shape (n,): of one zone, from `gate_speeds.zone_speeds`; NaN where not known.
    session
        Shape (n,), labels.
    level
        Of the interval.

    Returns
    -------
    MeanSpeed or NotEnoughAttempts
        `MIN_ATTEMPTS` attempts are needed, and two in one of the sessions.

    Raises
    ------
    ValueError
        Shapes that do not fit, a level outside (0, 1).

    Notes
    -----
    As `mean_gain`: over sessions from three of them on, since gates are set up anew for each; else
    of these attempts, with the timing of one of them on top, for its part that stays within a
    session is not told apart here, and too wide is better than too narrow.

    Source: one-way analysis of variance, see `components`; Student's t.

    Examples
    --------
    >>> found = mean_speed(
    ...     [9.0, 9.1, 9.2, 9.1, 9.1], timing_sd_mps=[0.0] * 5, measured=[True] * 5, session=[1] * 5
    ... )
    >>> round(found.mean_mps, 2), round(found.interval.low, 2), round(found.interval.high, 2)
    (9.1, 9.01, 9.19)
    """
    conventions.check_level(level)
    speed, timing = (np.asarray(each, dtype=np.float64) for each in (speed_mps, timing_sd_mps))
    stood = np.asarray(measured, dtype=np.bool_)
    if speed.ndim != 1 or not speed.shape == timing.shape == stood.shape:
        raise ValueError(
            f"each speed needs a timing SD and whether it was measured, got shapes {speed.shape},"
            f" {timing.shape} and {stood.shape}"
        )
    labels = conventions.group_by(session, n=int(speed.size)).index
    known = ~np.isnan(speed)
    speed, labels = speed[known], labels[known]
    groups = conventions.group_by(labels, n=int(speed.size))
    needed = max(MIN_ATTEMPTS, groups.n_groups + 1)
    if speed.size < needed:
        return NotEnoughAttempts(n=int(speed.size), needed=needed)
    left = conventions.centred(speed, groups)
    within_df = int(speed.size) - groups.n_groups
    within = float(left @ left) / within_df
    own_timing = float(np.sqrt(np.mean(timing[known] ** 2)))
    parts = components.spread_components(speed, labels)
    if isinstance(parts, NotEnoughAttempts):
        error = float(np.sqrt(within / speed.size + own_timing**2 / groups.n_groups))
        df = float(within_df)
    else:
        error, df = parts.mean_standard_error_m, parts.mean_df
    mean = float(speed.mean())
    return MeanSpeed(
        n=int(speed.size),
        n_sessions=groups.n_groups,
        n_measured=int(stood[known].sum()),
        mean_mps=mean,
        interval=conventions.t_interval(estimate=mean, standard_error=error, df=df, level=level),
        attempt_sd_mps=float(np.sqrt(within)),
        timing_sd_mps=own_timing,
    )


def mean_gain(
    zones: ZoneSpeeds, *, session: npt.ArrayLike, level: float = DEFAULT_LEVEL
) -> BoardGain | NotEnoughAttempts:
    """Say whether speed is gained or lost into the board on average.

    Parameters
    ----------
    zones
        From `gate_speeds.zone_speeds`, n attempts of one series.
    session
        Shape (n,), labels: gates are set up anew for each.
    level
        Of the interval.

    Returns
    -------
    BoardGain or NotEnoughAttempts
        `MIN_ATTEMPTS` attempts with both zones are needed, and two in one of the sessions.

    Raises
    ------
    ValueError
        Labels of another length, a level outside (0, 1).

    Notes
    -----
    From three sessions on the interval is that of a mean whose sessions differ
    (`components.spread_components`): gates that stand a little wrong in each session are in that
    difference. With one or two it is that of the attempts, and what places of gates leave open is
    added, ``place^2 / sessions``, since no number of attempts takes it away; these sessions may
    still differ from others. The athlete's own SD is what the clock leaves of that within sessions,
    ``sqrt(SD^2 - clock^2)``.

    Edge cases: attempts without one of the zones are left out of all figures.

    Source: one-way analysis of variance, see `components`; Student's t.

    Examples
    --------
    >>> from analytics.core.gate_speeds import zone_speeds
    >>> times = [[0, 0.50, 1.02], [0, 0.50, 1.01], [0, 0.49, 1.01], [0, 0.50, 1.02], [0, 0.49, 1.0]]
    >>> found = mean_gain(zone_speeds([11, 6, 1], times), session=[1, 1, 1, 1, 1])
    >>> round(found.gain_mps, 2), found.answer.value, round(found.clock_sd_mps, 2)
    (-0.39, 'loses', 0.14)
    """
    conventions.check_level(level)
    size = int(zones.gain_mps.size)
    labels = conventions.group_by(session, n=size).index
    known = ~np.isnan(zones.gain_mps)
    gain, labels = zones.gain_mps[known], labels[known]
    n = int(gain.size)
    groups = conventions.group_by(labels, n=n)
    needed = max(MIN_ATTEMPTS, groups.n_groups + 1)
    if n < needed:
        return NotEnoughAttempts(n=n, needed=needed)
    mean = float(gain.mean())
    left = conventions.centred(gain, groups)
    within_df = n - groups.n_groups
    within = float(left @ left) / within_df
    clock = float(np.mean(zones.gain_clock_sd_mps[known] ** 2))
    place = float(np.mean(zones.gain_sd_mps[known] ** 2)) - clock

    parts = components.spread_components(gain, labels)
    if isinstance(parts, NotEnoughAttempts):
        error, df = float(np.sqrt(within / n + max(place, 0.0) / groups.n_groups)), float(within_df)
    else:
        error, df = parts.mean_standard_error_m, parts.mean_df
    interval = conventions.t_interval(estimate=mean, standard_error=error, df=df, level=level)
    answer = GainAnswer.NOT_SHOWN
    if interval.low > 0:
        answer = GainAnswer.GAINS
    if interval.high < 0:
        answer = GainAnswer.LOSES
    return BoardGain(
        n=n,
        n_sessions=groups.n_groups,
        n_measured=int((zones.measured_11_6 & zones.measured_6_1)[known].sum()),
        speed_11_6_mps=float(zones.speed_11_6_mps[known].mean()),
        speed_6_1_mps=float(zones.speed_6_1_mps[known].mean()),
        gain_mps=mean,
        gain_interval=interval,
        gain_standard_error_mps=error,
        gain_df=df,
        over_sessions=not isinstance(parts, NotEnoughAttempts),
        attempt_sd_mps=float(np.sqrt(within)),
        clock_sd_mps=float(np.sqrt(clock)),
        own_sd_mps=float(np.sqrt(max(within - clock, 0.0))),
        answer=answer,
    )


def probability_of_loss(gain: BoardGain, *, more_than_mps: float = 0.0) -> float:
    """Return how likely more speed than that is lost into the board on average.

    Parameters
    ----------
    gain
        From `mean_gain`.
    more_than_mps
        m/s, positive for a loss.

    Raises
    ------
    ValueError
        A limit that is not finite.

    Notes
    -----
    Student's t of the mean gain about what was seen, as with a flat prior.

    Examples
    --------
    >>> from analytics.core.gate_speeds import zone_speeds
    >>> times = [[0, 0.50, 1.02], [0, 0.50, 1.01], [0, 0.49, 1.01], [0, 0.50, 1.02], [0, 0.49, 1.0]]
    >>> found = mean_gain(zone_speeds([11, 6, 1], times), session=[1, 1, 1, 1, 1])
    >>> round(probability_of_loss(found, more_than_mps=0.3), 2)
    0.89
    """
    if not np.isfinite(more_than_mps):
        raise ValueError(f"more_than_mps must be finite, got {more_than_mps}")
    if gain.gain_standard_error_mps == 0:
        return float(gain.gain_mps < -more_than_mps)
    t = (-more_than_mps - gain.gain_mps) / gain.gain_standard_error_mps
    return float(stats.t.cdf(t, gain.gain_df))
