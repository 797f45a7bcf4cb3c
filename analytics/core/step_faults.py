"""Stutter and over-stride: chopped and reaching steps near the board."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import conventions, needed_made
from analytics.core.accuracy import MAD_TO_SD
from analytics.core.conventions import BoolArray, FloatArray, NotEnoughAttempts

MIN_ATTEMPTS = 15
"""Attempts with a step below which nothing is said of it. With 10, an ordinary step comes out at
z <= -2 in 7 % of attempts, not in the 2.3 % of a normal value (simulated)."""

SMALLEST_SCALE_M = 0.03
"""Least spread of a step's length that a z value is taken against: below it, centimetres that
nobody could see would be flagged."""

WATCHED_STEPS = 5


@dataclass(frozen=True, slots=True)
class FaultSettings:
    """From where a step counts as chopped or reaching.

    Attributes
    ----------
    short_z, long_z
        z at or below which a step is short, at or above which it is long.
    quicker_hz
        Rise of the step frequency, against the athlete's usual, that goes with a stutter.
    speed_drop_z
        z of the change of speed into that step at or below which it fell more than usual.
    """

    short_z: float = -2.0
    long_z: float = 2.0
    quicker_hz: float = 0.0
    speed_drop_z: float = -1.0


DEFAULT_SETTINGS = FaultSettings()


@dataclass(frozen=True, slots=True)
class StepFaults:
    """Attempts with chopped or reaching steps. Arrays are by attempt; columns by step 1 to 5.

    Attributes
    ----------
    n
        Attempts judged: those with any z value.
    z
        Shape (n, 5): robust z of each step's length against the athlete's other attempts; NaN
        where not known.
    planned_z
        Shape (n, 5): likewise against the planned length, NaN without a plan.
    excused
        Shape (n, 5): the step was as long as the correction asked for.
    stutter, over_stride
        Shape (n,): flagged.
    habitual_short_steps
        Shape (5,): the usual length is short of the plan by more than two of its spreads: what an
        athlete always does never stands out against the athlete's own attempts.
    n_stutters, n_over_strides
        Flagged attempts.
    """

    n: int
    z: FloatArray
    planned_z: FloatArray
    excused: BoolArray
    stutter: BoolArray
    over_stride: BoolArray
    habitual_short_steps: BoolArray
    n_stutters: int
    n_over_strides: int


def step_faults(
    toe_m: npt.ArrayLike,
    *,
    touchdown_s: npt.ArrayLike | None = None,
    planned_toe_m: npt.ArrayLike | None = None,
    gain: npt.ArrayLike | None = None,
    settings: FaultSettings = DEFAULT_SETTINGS,
) -> StepFaults | NotEnoughAttempts:
    """Flag attempts with chopped or reaching steps near the board.

    Parameters
    ----------
    toe_m
        Shape (n, K), K >= 3, metres behind the take-off line, of one plan revision; NaN where
        missing. At most the last five steps are looked at.
    touchdown_s
        Shape (n, K), seconds on one clock for each attempt. Without it no step is flagged: a
        stutter is short *and* quick, an over-stride long *and* braking.
    planned_toe_m
        Shape (K,), footfalls of the plan.
    gain
        Shape (K - 1,): of each step, step 1 first (`needed_made`). With it a step that was as
        short or long as the deviation before it asked for is excused.
    settings
        Thresholds.

    Returns
    -------
    StepFaults or NotEnoughAttempts
        `MIN_ATTEMPTS` attempts with one of the steps are needed.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values.

    Notes
    -----
    ``z = (x - median) / max(1.4826 MAD, 0.03 m)`` with median and MAD of the *other* attempts.
    Stutter: two neighbouring steps among 5 to 2, both with z <= -2 and not excused, and a higher
    step frequency than usual in them. Over-stride: step 1 or 2 with z >= 2, not excused, and a
    fall of speed into it beyond the athlete's usual, ``speed_k - speed_(k+1)`` with robust z <= -1.

    Excused: the length that the deviation asked for, ``usual + gain x (toe_k - usual toe_k)``,
    leaves a z within the limits. A plan's length is compared by the same scale, and stands in
    `planned_z`; `habitual_short_steps` tells of what an athlete always does.

    Edge cases: a step with fewer than `MIN_ATTEMPTS` lengths is NaN and flags nothing; so is a
    missing one. All lengths equal: z 0.

    Source: robust z of Iglewicz & Hoaglin 1993 (from memory) with a floor; definitions ours.

    Examples
    --------
    >>> rng = np.random.default_rng(3)
    >>> toe = 0.06 + 2.2 * np.arange(7) + rng.normal(0, 0.02, (20, 7))
    >>> toe[4, 3:] -= 0.25; toe[4, 4:] -= 0.25
    >>> touchdown = -0.24 * np.arange(7) + np.zeros((20, 1))
    >>> touchdown[4, 3:] += 0.04; touchdown[4, 4:] += 0.04
    >>> np.flatnonzero(step_faults(toe, touchdown_s=touchdown).stutter).tolist()
    [4]
    """
    toe = needed_made.check_footfalls(toe_m)
    if toe.shape[1] < 3:
        raise ValueError(f"step faults need three footfalls, got {toe.shape[1]}")
    times = np.full(toe.shape, np.nan)
    if touchdown_s is not None:
        times = np.asarray(touchdown_s, dtype=np.float64)
        if times.shape != toe.shape:
            raise ValueError(f"touchdown_s needs the shape of toe_m, got {times.shape}")
        conventions.check_not_infinite(times, name="touchdown_s")
    planned = _check_by_footfall(planned_toe_m, size=toe.shape[1], name="planned_toe_m")
    gains = _check_by_footfall(gain, size=toe.shape[1] - 1, name="gain")

    length = np.diff(toe, axis=1)[:, :WATCHED_STEPS]
    step_time = -np.diff(times, axis=1)
    counts = np.count_nonzero(~np.isnan(length), axis=0)
    if int(counts.max(initial=0)) < MIN_ATTEMPTS:
        return NotEnoughAttempts(n=int(counts.max(initial=0)), needed=MIN_ATTEMPTS)

    usual, scale = _usual_of_others(length)
    scale = np.maximum(scale, SMALLEST_SCALE_M)
    z = (length - usual) / scale
    planned_z = (length - np.diff(planned)[:WATCHED_STEPS]) / scale
    asked = (
        gains[: length.shape[1]]
        * (toe[:, 1:] - _usual_of_others(toe)[0][:, 1:])[:, : length.shape[1]]
    )
    with np.errstate(invalid="ignore"):
        left = (length - usual - asked) / scale
        excused = ~np.isnan(left) & (left > settings.short_z) & (left < settings.long_z)
        short = (z <= settings.short_z) & ~excused
        long = (z >= settings.long_z) & ~excused
    stutter = _stutters(short, 1 / step_time[:, : length.shape[1]], settings)
    over_stride = _over_strides(long, np.diff(toe, axis=1) / step_time, settings)
    return StepFaults(
        n=int((~np.isnan(z)).any(axis=1).sum()),
        z=z,
        planned_z=planned_z,
        excused=excused,
        stutter=stutter,
        over_stride=over_stride,
        habitual_short_steps=_habitual(planned_z, settings),
        n_stutters=int(stutter.sum()),
        n_over_strides=int(over_stride.sum()),
    )


def _check_by_footfall(values: npt.ArrayLike | None, *, size: int, name: str) -> FloatArray:
    if values is None:
        return np.full(size, np.nan)
    array = np.asarray(values, dtype=np.float64)
    if array.shape != (size,):
        raise ValueError(f"{name} needs {size} values, got shape {array.shape}")
    conventions.check_not_infinite(array, name=name)
    return array


def _usual_of_others(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return median and 1.4826 MAD of the other attempts, each of the shape of `values`.

    NaN where fewer than `MIN_ATTEMPTS` values, the attempt itself counted, are there.
    """
    usual = np.full(values.shape, np.nan)
    scale = np.full(values.shape, np.nan)
    for column in range(values.shape[1]):
        seen = np.flatnonzero(~np.isnan(values[:, column]))
        if seen.size < MIN_ATTEMPTS:
            continue
        kept = values[seen, column]
        others = np.array([np.delete(kept, place) for place in range(kept.size)])
        usual[seen, column] = np.median(others, axis=1)
        scale[seen, column] = stats.median_abs_deviation(others, axis=1) * MAD_TO_SD
    return usual, scale


def _stutters(short: BoolArray, frequency: FloatArray, settings: FaultSettings) -> BoolArray:
    """Return which attempts have two neighbouring short, quick steps among 5 to 2."""
    usual, _ = _usual_of_others(frequency)
    with np.errstate(invalid="ignore"):
        chopped = short & (frequency - usual > settings.quicker_hz)
    return np.asarray((chopped[:, 1:-1] & chopped[:, 2:]).any(axis=1), dtype=np.bool_)


def _over_strides(long: BoolArray, speed: FloatArray, settings: FaultSettings) -> BoolArray:
    """Return which attempts reach with step 1 or 2 and lose more speed into it than usual."""
    change = speed[:, :-1] - speed[:, 1:]  # step k against the step before it
    usual, scale = _usual_of_others(change)
    with np.errstate(invalid="ignore", divide="ignore"):
        braking = (change - usual) / scale <= settings.speed_drop_z
    steps = min(2, change.shape[1])
    return np.asarray((long[:, :steps] & braking[:, :steps]).any(axis=1), dtype=np.bool_)


def _habitual(planned_z: FloatArray, settings: FaultSettings) -> BoolArray:
    """Return of which steps the median attempt is short of the plan."""
    habit = np.zeros(planned_z.shape[1], dtype=np.bool_)
    for column in range(planned_z.shape[1]):
        seen = planned_z[:, column][~np.isnan(planned_z[:, column])]
        habit[column] = seen.size > 0 and float(np.median(seen)) <= settings.short_z
    return habit
