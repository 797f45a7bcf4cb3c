"""What the run-throughs of a warm-up say about today's mark."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import conventions
from analytics.core.conventions import FloatArray, IntArray

SMALLEST_MOVE_M = 0.03
"""Nobody sets a mark anew for less; ours."""


@dataclass(frozen=True, slots=True)
class Believed:
    """What is believed before the run-throughs. Metres.

    Attributes
    ----------
    bias_m, bias_sd_m
        Of today's mark for jumps: for one that was summed up 0 and `todays_mark.TodaysMark.sd_m`.
    offset_m, offset_sd_m
        Of run-throughs against jumps, `usual_days.RunThroughOffset`.
    error_sd_m
        SD of one run-through within its session, above 0.
    """

    bias_m: float
    bias_sd_m: float
    offset_m: float
    offset_sd_m: float
    error_sd_m: float


@dataclass(frozen=True, slots=True, eq=False)
class WarmUp:
    """What is believed of today's mark after each run-through. Arrays of shape (n + 1,).

    Attributes
    ----------
    n
        Run-throughs with a known error among those so far, from 0 on.
    bias_m, bias_sd_m
        Of the mark that the errors were measured from; positive: jumps will land short.
    low_m, high_m
        Ends of the interval of 95 %.
    move_m
        What is to be done to that mark: ``-bias_m``, negative toward the pit. Where the mark of the
        last run-through is less than `SMALLEST_MOVE_M` from there, it stays.
    start_mark_m
        The mark to use then, to the centimetre.
    """

    n: IntArray
    bias_m: FloatArray
    bias_sd_m: FloatArray
    low_m: FloatArray
    high_m: FloatArray
    move_m: FloatArray
    start_mark_m: FloatArray


def calibrate(error_m: npt.ArrayLike, *, start_mark_m: npt.ArrayLike, believed: Believed) -> WarmUp:
    """Say what each run-through of a warm-up teaches about today's mark.

    Parameters
    ----------
    error_m
        Shape (n,): errors of the run-throughs in their order, landed short positive, at one place;
        NaN where not measured. The wind of each need not be taken out: its part is in what is
        believed; gusts are in the SD of one run-through.
    start_mark_m
        The mark of each run-through, or one for all: a mark that was moved in between moved the
        errors by as much. The first is the one that the results speak of.
    believed
        Before the run-throughs.

    Returns
    -------
    WarmUp
        From "nothing run yet" on.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite errors, marks that are not finite, negative SDs, a spread
        of 0.

    Notes
    -----
    Bias N(m, v), offset N(o, w), shared by all run-throughs, each with an error of SD s. Of k of
    them with the mean y, the bias has the precision ``1 / v + 1 / (w + s^2 / k)`` and draws toward
    ``y - o`` by its share: the normal model with known variances, exact. However many run-throughs
    there are, the bias stays as uncertain as the offset: warm up in the way that you compete.

    Moving by the last error would carry its chance into the competition: with 0.08 m believed of
    the mark, 0.12 m of one run-through and a known offset, the mark is off by 0.067 m (SD) after
    one run-through, and by 0.12 m if it is moved by all of that one's error.

    A mark that was moved already stays where it is unless the belief is `SMALLEST_MOVE_M` away from
    it: to go back to the first one for less would undo what was learned.

    Edge cases: a run-through that was not measured changes nothing; no run-throughs leave what was
    believed.

    The coach on the spot decides; pain, a wet or uneven runway, an unsafe pit or lightning stop
    the session.

    Examples
    --------
    >>> before = Believed(0.0, 0.08, offset_m=0.02, offset_sd_m=0.02, error_sd_m=0.12)
    >>> found = calibrate([0.17, 0.11, 0.14], start_mark_m=30.0, believed=before)
    >>> found.bias_m.round(3).tolist(), found.bias_sd_m.round(3).tolist()
    ([0.0, 0.045, 0.055, 0.066], [0.08, 0.067, 0.059, 0.054])
    >>> found.start_mark_m.tolist()
    [30.0, 29.95, 29.95, 29.93]
    """
    error = np.asarray(error_m, dtype=np.float64)
    marks = np.asarray(start_mark_m, dtype=np.float64)
    if error.ndim != 1 or marks.shape not in {(), error.shape} or marks.size == 0:
        raise ValueError("error_m needs one dimension, start_mark_m one mark, or one for each")
    if not np.all(np.isfinite(marks)):
        raise ValueError("start_mark_m must be finite")
    conventions.check_not_infinite(error, name="error_m")
    sds = (believed.bias_sd_m, believed.offset_sd_m, believed.error_sd_m)
    if not all(0 <= sd < np.inf for sd in sds) or believed.error_sd_m**2 == 0:
        raise ValueError(f"SDs must be finite and 0 or more, that of an error above 0, got {sds}")
    if not np.all(np.isfinite([believed.bias_m, believed.offset_m])):
        raise ValueError(f"what is believed must be finite, got {believed}")

    first = float(marks.flat[0])
    # A mark that stands farther from the pit lets the foot land as much shorter.
    at_first = error - (np.broadcast_to(marks, error.shape) - first)
    known = ~np.isnan(at_first)
    n = np.concatenate([[0], np.cumsum(known)]).astype(np.int64)
    sums = np.concatenate([[0.0], np.cumsum(np.where(known, at_first, 0.0))])
    counted = np.maximum(n, 1)
    noise = believed.offset_sd_m**2 + believed.error_sd_m**2 / counted
    prior = believed.bias_sd_m**2
    weight = np.where(n > 0, prior / (prior + noise), 0.0)
    bias = believed.bias_m + weight * (sums / counted - believed.offset_m - believed.bias_m)
    sd = np.sqrt(prior * (1 - weight))
    half = float(stats.norm.ppf(0.5 + conventions.DEFAULT_LEVEL / 2)) * sd
    placed = np.broadcast_to(marks, error.shape) - first
    stands = np.concatenate([[0.0], placed])
    # To a hundredth of a millimetre, or 3 cm would be less than 3 cm by rounding.
    far = np.round(np.abs(-bias - stands), 5) >= SMALLEST_MOVE_M
    move = np.where(far, -bias, stands) + 0.0
    return WarmUp(
        n=n,
        bias_m=bias,
        bias_sd_m=sd,
        low_m=bias - half,
        high_m=bias + half,
        move_m=move,
        start_mark_m=np.round(first + move, 2),
    )
