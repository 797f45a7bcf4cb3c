"""How speed into the board and the rhythm of the last steps move from attempt to attempt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core import gate_speeds, last_steps, rolling
from analytics.core.conventions import DEFAULT_LEVEL, FloatArray, IntArray
from analytics.core.rolling import DEFAULT_MIN_VALID, DEFAULT_WINDOW


@dataclass(frozen=True, slots=True)
class RollingRunUp:
    """Figures after each attempt over the window that ends there; all of shape (n,).

    Attributes
    ----------
    n_speeds, n_speeds_at_gates
        Attempts in the window with speeds in both zones, and those among them whose gates stood at
        the ends of the zones; the others were interpolated.
    speed_11_6_mps, speed_6_1_mps, speed_6_1_low_mps, speed_6_1_high_mps
        Mean speeds in the zones, the latter with its t interval.
    speed_gain_mps, speed_gain_low_mps, speed_gain_high_mps
        Mean of the second less the first of each attempt, with its t interval: negative where speed
        is lost into the board.
    n_step_lengths, n_step_times
        Attempts in the window of which the last three steps have lengths, times.
    length_ratio_2, length_ratio_1
        Mean length of the penultimate and of the last step, to the third-last of the same attempt,
        each with its t interval and its SD from attempt to attempt.
    time_ratio_2, time_ratio_1
        Mean times likewise, without the SD.
    """

    n_speeds: IntArray
    n_speeds_at_gates: IntArray
    speed_11_6_mps: FloatArray
    speed_6_1_mps: FloatArray
    speed_6_1_low_mps: FloatArray
    speed_6_1_high_mps: FloatArray
    speed_gain_mps: FloatArray
    speed_gain_low_mps: FloatArray
    speed_gain_high_mps: FloatArray
    n_step_lengths: IntArray
    length_ratio_2: FloatArray
    length_ratio_2_low: FloatArray
    length_ratio_2_high: FloatArray
    length_ratio_2_sd: FloatArray
    length_ratio_1: FloatArray
    length_ratio_1_low: FloatArray
    length_ratio_1_high: FloatArray
    length_ratio_1_sd: FloatArray
    n_step_times: IntArray
    time_ratio_2: FloatArray
    time_ratio_2_low: FloatArray
    time_ratio_2_high: FloatArray
    time_ratio_1: FloatArray
    time_ratio_1_low: FloatArray
    time_ratio_1_high: FloatArray


def rolling_run_up(
    toe_m: npt.ArrayLike,
    touchdown_s: npt.ArrayLike,
    gate_at_m: npt.ArrayLike,
    gate_time_s: npt.ArrayLike,
    *,
    revision: npt.ArrayLike | None = None,
    window: int = DEFAULT_WINDOW,
    min_valid: int = DEFAULT_MIN_VALID,
    level: float = DEFAULT_LEVEL,
) -> RollingRunUp:
    """Return speeds and rhythm after each attempt over the last `window` attempts.

    Position ``i`` sees attempts ``i - window + 1`` to ``i`` only, as in `rolling.rolling_figures`.

    Parameters
    ----------
    toe_m, touchdown_s
        Shape (n, K), K >= 4: metres behind the take-off line and seconds of footfalls 0, 1, 2, ...;
        NaN where missing.
    gate_at_m, gate_time_s
        Shape (n, G): metres before the take-off line and seconds, in the order passed; NaN where
        missing.
    revision
        Shape (n,), plan revision of each attempt: the window restarts where it changes.
    window
        Attempts in a full window, measured or not.
    min_valid
        Measured attempts below which a figure is NaN.
    level
        Of the intervals.

    Returns
    -------
    RollingRunUp
        NaN means not enough to say.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, steps that do not go forward, gates that are not in
        the order passed; options as in `rolling.rolling_means`.

    Notes
    -----
    Speeds as in `gate_speeds.zone_means`, ratios as in `last_steps.step_ratios`, means as in
    `rolling.rolling_means`. A speed counts only with the other one, so the gain is the difference
    of the two means. Ratios are taken in each attempt, then averaged.

    The SD from attempt to attempt is given for lengths only. That of speeds and times is made by
    the clock as much as by the athlete: at 10 m/s a clock of hundredths alone spreads the speed
    over 5 m by 0.08 m/s, and touchdowns seen to 0.01 s spread the time of one step by 0.004 s.

    Examples
    --------
    >>> toe = [[0.06, 2.06, 4.31, 6.46]] * 5
    >>> touchdown = [[5.00, 4.79, 4.55, 4.32]] * 5
    >>> moved = rolling_run_up(toe, touchdown, [[11.0, 6.0, 1.0]] * 5, [[4.15, 4.65, 5.17]] * 5)
    >>> moved.speed_gain_mps.round(2).tolist()
    [nan, nan, nan, nan, -0.38]
    >>> moved.length_ratio_1.round(2).tolist()[-1], moved.time_ratio_2.round(2).tolist()[-1]
    (0.93, 1.04)
    """
    speeds = gate_speeds.zone_means(gate_at_m, gate_time_s)
    ratios = last_steps.step_ratios(toe_m, touchdown_s=touchdown_s)
    first, second = speeds.speed_11_6_mps, speeds.speed_6_1_mps

    def means_of(*columns: FloatArray) -> rolling.RollingMeans:
        return rolling.rolling_means(
            np.column_stack(columns),
            revision=revision,
            window=window,
            min_valid=min_valid,
            level=level,
        )

    speed = means_of(first, second, second - first)
    length = means_of(ratios.length_ratio_2, ratios.length_ratio_1)
    time = means_of(ratios.time_ratio_2, ratios.time_ratio_1)
    return RollingRunUp(
        n_speeds=speed.n,
        n_speeds_at_gates=rolling.window_counts(speeds.measured, revision=revision, window=window),
        speed_11_6_mps=speed.mean[:, 0],
        speed_6_1_mps=speed.mean[:, 1],
        speed_6_1_low_mps=speed.low[:, 1],
        speed_6_1_high_mps=speed.high[:, 1],
        speed_gain_mps=speed.mean[:, 2],
        speed_gain_low_mps=speed.low[:, 2],
        speed_gain_high_mps=speed.high[:, 2],
        n_step_lengths=length.n,
        length_ratio_2=length.mean[:, 0],
        length_ratio_2_low=length.low[:, 0],
        length_ratio_2_high=length.high[:, 0],
        length_ratio_2_sd=length.sd[:, 0],
        length_ratio_1=length.mean[:, 1],
        length_ratio_1_low=length.low[:, 1],
        length_ratio_1_high=length.high[:, 1],
        length_ratio_1_sd=length.sd[:, 1],
        n_step_times=time.n,
        time_ratio_2=time.mean[:, 0],
        time_ratio_2_low=time.low[:, 0],
        time_ratio_2_high=time.high[:, 0],
        time_ratio_1=time.mean[:, 1],
        time_ratio_1_low=time.low[:, 1],
        time_ratio_1_high=time.high[:, 1],
    )
