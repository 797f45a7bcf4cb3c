"""What earlier sessions say of the next day: competitions, and run-throughs against jumps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core import components, conventions
from analytics.core.baselines import PRIOR_BETWEEN_SESSIONS, PRIOR_BETWEEN_SHARE
from analytics.core.conventions import FloatArray, Interval, NotEnoughAttempts

MIN_PAIRED_SESSIONS = 3
"""Sessions with run-throughs and jumps below which the offset between them is not known."""

USUAL_COMPETITION_SD_M = 0.05
"""How far competitions are believed to depart from training before any is known; ours."""


@dataclass(frozen=True, slots=True)
class RunThroughOffset:
    """How run-throughs land against the jumps of the same sessions.

    Attributes
    ----------
    n_sessions
        With both.
    mean_m, standard_error_m, interval
        Error of a run-through less that of a jump; positive: run-throughs land shorter.
    """

    n_sessions: int
    mean_m: float
    standard_error_m: float
    interval: Interval


@dataclass(frozen=True, slots=True)
class UsualDay:
    """By how much a competition day shifts the errors.

    Attributes
    ----------
    n_sessions, n_competitions
        Behind it, competitions among the sessions.
    shift_m
        Expected shift of a competition against training; positive: lands shorter.
    shift_sd_m
        How well that is known.
    day_sd_m
        SD of a day about it.
    """

    n_sessions: int
    n_competitions: int
    shift_m: float
    shift_sd_m: float
    day_sd_m: float

    @property
    def sd_m(self) -> float:
        """SD of what the next competition day does, both together."""
        return float(np.hypot(self.shift_sd_m, self.day_sd_m))


def run_through_offset(
    run_through_error_m: npt.ArrayLike,
    run_through_session: npt.ArrayLike,
    jump_error_m: npt.ArrayLike,
    jump_session: npt.ArrayLike,
) -> RunThroughOffset | NotEnoughAttempts:
    """Say how an athlete's run-throughs land against the jumps of the same sessions.

    Parameters
    ----------
    run_through_error_m, run_through_session
        Shape (r,): errors, landed short positive, NaN where not measured; labels.
    jump_error_m, jump_session
        Shape (j,), alike.

    Returns
    -------
    RunThroughOffset or NotEnoughAttempts
        Counted in sessions: `MIN_PAIRED_SESSIONS` with both are needed.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values.

    Notes
    -----
    Per session the mean of the run-throughs less that of the jumps; mean and t interval over
    sessions, each with the same weight (paired t, Student 1908, from memory). What the day, the
    wind and the mark did to both falls out. Take both at the same place: at the check mark the
    offset is small; at the board it is not one number, since jumps steer more than run-throughs
    (Bradshaw & Aisbett 2006), so that it depends on how wrong the mark was.

    Examples
    --------
    >>> found = run_through_offset(
    ...     [0.10, 0.12, 0.03], [1, 2, 3], [0.02, 0.04, 0.02, -0.02], [1, 2, 3, 3]
    ... )
    >>> round(found.mean_m, 3), round(found.standard_error_m, 3)
    (0.063, 0.017)
    """
    by_session = [
        _session_means(run_through_error_m, run_through_session, name="run_through"),
        _session_means(jump_error_m, jump_session, name="jump"),
    ]
    both = [label for label in by_session[0] if label in by_session[1]]
    if len(both) < MIN_PAIRED_SESSIONS:
        return NotEnoughAttempts(n=len(both), needed=MIN_PAIRED_SESSIONS)
    differences = np.array([by_session[0][label] - by_session[1][label] for label in both])
    mean = float(differences.mean())
    standard_error = float(differences.std(ddof=1) / np.sqrt(differences.size))
    return RunThroughOffset(
        n_sessions=len(both),
        mean_m=mean,
        standard_error_m=standard_error,
        interval=conventions.t_interval(
            estimate=mean,
            standard_error=standard_error,
            df=differences.size - 1,
            level=conventions.DEFAULT_LEVEL,
        ),
    )


def usual_day(
    error_m: npt.ArrayLike, session: npt.ArrayLike, competition: npt.ArrayLike
) -> UsualDay | NotEnoughAttempts:
    """Say by how much a competition day shifts an athlete's errors, and how much days differ.

    Parameters
    ----------
    error_m
        Shape (n,): errors of jumps, less what the wind explains; NaN is left out.
    session
        Shape (n,): labels.
    competition
        Shape (n,): booleans, the same for all attempts of a session.

    Returns
    -------
    UsualDay or NotEnoughAttempts
        Counted in sessions, as `components.spread_components` with training and competitions as
        two revisions: 3 are needed, 4 where both occur.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, other than booleans.

    Notes
    -----
    Days differ within training and within competitions by `components`' SD between sessions, drawn
    toward 0.7 of that within with the weight of 3 sessions (as in `baselines`). With it, the mean
    of the competitions less that of training has a known variance, and is drawn toward 0 with a
    prior SD of 0.05 m. No competition, or no training, leaves 0 and the prior SD.

    Examples
    --------
    >>> error = [0.02, 0.04, -0.02, 0.0, 0.01, 0.03, 0.10, 0.12]
    >>> day = usual_day(error, [1, 1, 2, 2, 3, 3, 4, 4], [False] * 6 + [True] * 2)
    >>> round(day.shift_m, 3), round(day.shift_sd_m, 3), round(day.day_sd_m, 3)
    (0.084, 0.018, 0.014)
    """
    error = np.asarray(error_m, dtype=np.float64)
    held = np.asarray(competition)
    if held.shape != error.shape or held.dtype != np.bool_:
        raise ValueError("competition needs one boolean for each attempt")
    parts = components.spread_components(error, session, revision=held)
    if isinstance(parts, NotEnoughAttempts):
        return parts
    usual = (PRIOR_BETWEEN_SHARE * parts.within_sd_m) ** 2
    day_variance = (parts.between_df * parts.between_sd_m**2 + PRIOR_BETWEEN_SESSIONS * usual) / (
        parts.between_df + PRIOR_BETWEEN_SESSIONS
    )
    known = ~np.isnan(error)
    sessions = conventions.group_by(held[known], np.asarray(session)[known], n=int(known.sum()))
    means = conventions.group_means(error[known], sessions)
    variances = day_variance + parts.within_sd_m**2 / sessions.counts
    of_competition = np.zeros(sessions.n_groups, dtype=np.bool_)
    of_competition[sessions.index] = held[known]
    shift, shift_variance = 0.0, USUAL_COMPETITION_SD_M**2
    if of_competition.any() and not of_competition.all():
        found, variance = 0.0, 0.0
        for chosen, sign in ((of_competition, 1.0), (~of_competition, -1.0)):
            weight = _weights(variances[chosen])
            found += sign * float(weight @ means[chosen])
            variance += float(weight**2 @ variances[chosen])
        kept = shift_variance / (shift_variance + variance)
        shift, shift_variance = kept * found, kept * variance
    return UsualDay(
        n_sessions=sessions.n_groups,
        n_competitions=int(of_competition.sum()),
        shift_m=shift,
        shift_sd_m=float(np.sqrt(shift_variance)),
        day_sd_m=float(np.sqrt(day_variance)),
    )


def _session_means(
    error_m: npt.ArrayLike, session: npt.ArrayLike, *, name: str
) -> dict[object, float]:
    error, labels = np.asarray(error_m, dtype=np.float64), np.asarray(session)
    if error.ndim != 1 or labels.shape != error.shape:
        raise ValueError(f"{name} needs one error and one session for each attempt")
    conventions.check_not_infinite(error, name=f"{name}_error_m")
    known = ~np.isnan(error)
    return {
        label.item(): float(error[known & (labels == label)].mean())
        for label in np.unique(labels[known])
    }


def _weights(variances: FloatArray) -> FloatArray:
    """Return weights that sum to 1, equal ones where nothing varies."""
    if np.any(variances <= 0):
        return np.full(variances.size, 1 / variances.size)
    precision = 1 / variances
    return np.asarray(precision / precision.sum())
