"""What do more steps bring: speed and distance against the number of steps."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import cautions, conventions, quadratic
from analytics.core.conventions import (
    DEFAULT_LEVEL,
    FloatArray,
    Groups,
    Interval,
    NotEnoughAttempts,
)
from analytics.core.length_settings import PAIR_OF_STEPS

MIN_STEP_COUNTS = 4
"""Numbers of steps below which no curve is drawn: three would fit one whatever they are."""

SPARE_ATTEMPTS = 5
"""Attempts that are needed beyond what the curve and the sessions use up."""


class Peak(StrEnum):
    """Whether a best number of steps is seen."""

    SHOWN = "shown"
    NOT_SHOWN = "not_shown"
    BEYOND_TRIED = "beyond_tried"


@dataclass(frozen=True, slots=True)
class NotEnoughStepCounts:
    """What stands in place of a curve through too few numbers of steps.

    >>> str(NotEnoughStepCounts(n=3, needed=4))
    'not enough numbers of steps (3 of 4)'
    """

    n: int
    needed: int

    def __str__(self) -> str:
        return f"not enough numbers of steps ({self.n} of {self.needed})"


@dataclass(frozen=True, slots=True)
class LengthStudy:
    """What a pair of steps more brings, in the unit of the values: m/s or m.

    Attributes
    ----------
    n, n_step_counts, n_sessions
        Attempts behind it, different numbers of steps among them, sessions (0 without labels).
    fewest_steps, most_steps
        That were tried.
    from_steps, to_steps
        The next pair.
    gain, gain_interval
        What it brings by the curve.
    probability_gain
        How sure it is that it brings anything at all.
    beyond_tried
        The pair was not tried: the curve is drawn on beyond what was measured.
    curvature, curvature_interval
        Below 0: each pair brings less than the one before.
    peak, peak_steps, peak_interval
        Best number of steps, where one is shown among those that were tried.
    residual_sd
        SD of an attempt about the curve.
    lack_of_fit_p
        Small: the values do not follow such a curve.
    caution
        To be shown with it.
    """

    n: int
    n_step_counts: int
    n_sessions: int
    fewest_steps: int
    most_steps: int
    from_steps: int
    to_steps: int
    gain: float
    gain_interval: Interval
    probability_gain: float
    beyond_tried: bool
    curvature: float
    curvature_interval: Interval
    peak: Peak
    peak_steps: float | None
    peak_interval: Interval | None
    residual_sd: float
    lack_of_fit_p: float | None
    caution: str


def study_length(
    steps: npt.ArrayLike,
    values: npt.ArrayLike,
    *,
    session: npt.ArrayLike | None = None,
    steps_now: int | None = None,
    level: float = DEFAULT_LEVEL,
) -> LengthStudy | NotEnoughStepCounts | NotEnoughAttempts:
    """Say what a pair of steps more brings in speed or distance.

    Parameters
    ----------
    steps
        Shape (n,), whole numbers: steps of the run-up of each attempt.
    values
        Shape (n,): run-up speed from 6 to 1 m (m/s) or effective distance (m); NaN where not
        known. A no jump has a speed and an effective distance, too, where they were measured.
    session
        Shape (n,), labels; then lengths are compared within sessions only.
    steps_now
        From which the next pair counts; None for the most that were tried.
    level
        Of the intervals.

    Returns
    -------
    LengthStudy, NotEnoughStepCounts or NotEnoughAttempts
        `MIN_STEP_COUNTS` numbers of steps are needed that can be compared with one another, and
        `SPARE_ATTEMPTS` attempts beyond one for each session and two for the curve.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, steps that are not whole and positive, a
        `steps_now` that lies outside those that were tried, a level outside (0, 1).

    Notes
    -----
    Curve of the second order by least squares (Beres et al. 2014, whose curve from 6, 8, 10 and 12
    steps met the competition distance of their jumpers: predicted 6.95, jumped 6.96 m), with a
    level for each session where sessions are told: else a good day with the long run-up would pass
    for its gain. The gain of the next pair is linear in the curve, so its interval is exact for
    normal errors. A best number of steps is given only if the interval of the curvature lies below
    0 and the curve turns among the numbers that were tried; its interval is Fieller's
    (`quadratic.ratio_interval`), which is not even about the estimate and may reach beyond what
    was tried.

    Edge cases: values that lie on the curve exactly have intervals of one point. Sessions with one
    number of steps only compare nothing; `NotEnoughStepCounts` counts the numbers that sessions
    link with one another: ``1 + numbers - linked sets of numbers``.

    Examples
    --------
    >>> steps = np.repeat([8, 10, 12, 14], 3)
    >>> speed = 9.3 - 0.02 * (steps - 17) ** 2 + np.tile([0.05, -0.05, 0.0], 4)
    >>> found = study_length(steps, speed)
    >>> found.from_steps, found.to_steps, round(found.gain, 2)
    (14, 16, 0.16)
    >>> round(found.gain_interval.low, 2), round(found.gain_interval.high, 2), found.peak.value
    (0.03, 0.29, 'beyond_tried')
    """
    conventions.check_level(level)
    counts, known, labels = _check(steps, values, session)
    tried = np.unique(counts)
    groups = conventions.group_by(labels, n=counts.size)
    comparable = _comparable(counts, groups) if counts.size else 0
    if comparable < MIN_STEP_COUNTS:
        return NotEnoughStepCounts(n=comparable, needed=MIN_STEP_COUNTS)
    needed = groups.n_groups + quadratic.PARAMETERS + SPARE_ATTEMPTS
    if counts.size < needed:
        return NotEnoughAttempts(n=int(counts.size), needed=needed)
    fewest, most = int(tried[0]), int(tried[-1])
    start = most if steps_now is None else steps_now
    if not fewest <= start <= most:
        raise ValueError(f"steps_now must lie between {fewest} and {most}, got {start}")

    fit = quadratic.fit_quadratic(counts, known, groups=groups)
    gain, error, interval = quadratic.change(fit, start, start + PAIR_OF_STEPS, level=level)
    bend = quadratic.curvature_interval(fit, level=level)
    turn = quadratic.turning_point(fit, level=level) if bend.high < 0 else None
    peak = Peak.NOT_SHOWN
    if turn is not None:
        peak = Peak.SHOWN if fewest <= turn[0] <= most else Peak.BEYOND_TRIED
    shown = turn if peak is Peak.SHOWN else None
    return LengthStudy(
        n=int(counts.size),
        n_step_counts=int(tried.size),
        n_sessions=0 if session is None else groups.n_groups,
        fewest_steps=fewest,
        most_steps=most,
        from_steps=start,
        to_steps=start + PAIR_OF_STEPS,
        gain=gain,
        gain_interval=interval,
        probability_gain=_probability_gain(gain, error, fit),
        beyond_tried=start + PAIR_OF_STEPS > most,
        curvature=fit.curvature,
        curvature_interval=bend,
        peak=peak,
        peak_steps=shown[0] if shown else None,
        peak_interval=shown[1] if shown else None,
        residual_sd=fit.residual_sd,
        lack_of_fit_p=fit.lack_of_fit_p,
        caution=cautions.COACH_DECIDES,
    )


def _probability_gain(gain: float, error: float, fit: quadratic.Quadratic) -> float:
    # What does not spread is on the curve; only rounding is left to compare.
    if fit.residual_sd < conventions.NO_SPREAD_M:
        return float(gain > conventions.NO_SPREAD_M)
    return float(stats.t.cdf(gain / error, fit.df))


def _comparable(counts: FloatArray, groups: Groups) -> int:
    """Return how many numbers of steps are compared: one, and each contrast between them."""
    at_count = np.equal.outer(counts, np.unique(counts)).astype(np.float64)
    within = np.column_stack([conventions.centred(each, groups) for each in at_count.T])
    return 1 + int(np.linalg.matrix_rank(within))


def _check(
    steps: npt.ArrayLike, values: npt.ArrayLike, session: npt.ArrayLike | None
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.generic] | None]:
    """Return steps, values and labels of the attempts whose value is known."""
    counts, array = np.asarray(steps, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if counts.ndim != 1 or counts.shape != array.shape:
        raise ValueError(
            f"steps and values need one number for each attempt, got {counts.shape} and"
            f" {array.shape}"
        )
    if not np.all((counts >= 1) & (counts == np.floor(counts)) & np.isfinite(counts)):
        raise ValueError("steps must be whole and positive")
    conventions.check_not_infinite(array, name="values")
    labels = None if session is None else conventions.group_by(session, n=counts.size).index
    known = ~np.isnan(array)
    return counts[known], array[known], None if labels is None else labels[known]
