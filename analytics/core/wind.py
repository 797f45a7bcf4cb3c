"""What the wind does to where a foot lands."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analytics.core import conventions
from analytics.core.conventions import FloatArray

USUAL_SHIFT_M = 0.08
USUAL_SHIFT_OVER_M = 35.0
"""A tail wind of 1 m/s brings the foot 0.08 m nearer the pit after 35 m (our derivation, with the
drag model set to Linthorne 1994, J Appl Biomech 10:110-131), growing with distance^1.5."""

RUNNER_MPS = 8.0
"""Speed at which the drag of `felt_wind` is taken."""


def felt_wind(wind_mps: npt.ArrayLike) -> FloatArray:
    """Return the wind that errors are in proportion to: a head wind counts for more.

    Parameters
    ----------
    wind_mps
        Any shape, along the runway, positive a tail wind; NaN where not known.

    Raises
    ------
    ValueError
        Infinite winds.

    Notes
    -----
    Drag at running speed v changes from ``v^2`` to ``(v - w)^2``, that is by
    ``-2 v (w - w^2 / (2 v))``: with v = 8 m/s the error is in proportion to ``u = w - w^2 / 16``
    (our derivation, see `USUAL_SHIFT_M`). A tail wind faster than the runner pushes:
    ``u = 4 + (w - 8)^2 / 16`` from 8 m/s on, so that u never falls. Near that speed nobody should
    run up, and the figure is rough.

    Examples
    --------
    >>> felt_wind([2.0, 0.0, -2.0]).tolist()
    [1.75, 0.0, -2.25]
    """
    wind = np.asarray(wind_mps, dtype=np.float64)
    conventions.check_not_infinite(wind, name="wind_mps")
    by_calm = 1 - wind / RUNNER_MPS
    return np.asarray(RUNNER_MPS / 2 * (1 - by_calm * np.abs(by_calm)))


def usual_wind_slope(run_m: npt.ArrayLike) -> FloatArray:
    """Return by how much errors change for each m/s of `felt_wind` in a usual athlete.

    Parameters
    ----------
    run_m
        Any shape, metres run from the start mark to the footfall, 0 or more.

    Returns
    -------
    ndarray
        Metres for each m/s; never positive: a tail wind brings the foot nearer the pit.

    Raises
    ------
    ValueError
        A negative or infinite distance.

    Notes
    -----
    ``-0.08 (D / 35)^1.5``, see `USUAL_SHIFT_M`. At the board it holds for an athlete who does not
    steer; whoever does shows the part that steering lets through.

    Examples
    --------
    >>> usual_wind_slope([0.0, 20.0, 35.0]).round(3).tolist()
    [0.0, -0.035, -0.08]
    """
    run = np.asarray(run_m, dtype=np.float64)
    conventions.check_not_infinite(run, name="run_m")
    if np.any(run < 0):
        raise ValueError("run_m must be finite and 0 or more")
    return np.asarray(0.0 - USUAL_SHIFT_M * (run / USUAL_SHIFT_OVER_M) ** 1.5)
