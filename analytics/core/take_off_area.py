"""Jumps of visually impaired classes, which are measured from the foot within a take-off area."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.core import conventions, next_attempts
from analytics.core.conventions import FloatArray
from analytics.core.next_attempts import NextAttempts, Nodes
from analytics.core.quadrature import legendre

DEEPEST_M = 10.0
"""No area is deeper: a larger number is a wrong unit."""

AREA_DEPTH_M = 1.00
"""Of the chalked take-off area of classes T/F11 and T/F12 along the runway: 1.22 m by 1.00 m
(Panoutsakopoulos et al. 2013, J Hum Sport Exerc 8(3 Proc), abstract, of class F12)."""

FROM_MEMORY = (
    "which classes jump from the take-off area: T/F11 and T/F12",
    "a foot beyond the line of the area is a no jump",
    "who takes off before the area is measured from its far edge, where it begins",
)
"""What is said of the rules without having read them: check the current rules of para athletics."""

AIM_STEP_M = 0.05
"""Nobody sets a mark finer for an area of a metre; ours."""

NEARLY_BEST_M = 0.01
"""Aims whose value is within this of the best are as good; ours."""

MOST_ATTEMPTS = 20

_NODES = (3, 6)  # SDs and means: twice as many of each move no value of the tests by 1 mm
_PLACES = 12  # of the toe before the area
_RESULTS = 60
_NEVER = 1e-30
_FARTHEST_SDS = 6.0
_SLOWEST_JUMP_SDS = 8.0


@dataclass(frozen=True, slots=True)
class AreaAim:
    """One aim within the area and what it lets one expect.

    Attributes
    ----------
    aim_m
        Toe-to-line distance to aim at.
    expected_m
        Expected best of the attempts, the best so far among them.
    probability_no_jump, probability_inside, probability_before
        Of one attempt: beyond the line, within the area, before it.
    """

    aim_m: float
    expected_m: float
    probability_no_jump: float
    probability_inside: float
    probability_before: float


@dataclass(frozen=True, slots=True)
class AreaAdvice:
    """Where to aim within the take-off area.

    Attributes
    ----------
    n_toes, n_distances
        Attempts behind it.
    best, middle
        The best aim, and the middle of the area.
    good_from_m, good_to_m
        Aims around the best whose value is within `NEARLY_BEST_M` of it.
    gain_m
        What the best aim brings over the middle.
    from_memory
        `FROM_MEMORY`: what of the rules nobody has read.
    """

    n_toes: int
    n_distances: int
    best: AreaAim
    middle: AreaAim
    good_from_m: float
    good_to_m: float
    gain_m: float
    from_memory: tuple[str, ...]


def official_distance(
    effective_m: npt.ArrayLike, toe_m: npt.ArrayLike, *, depth_m: float = AREA_DEPTH_M
) -> FloatArray:
    """Return what officials read of jumps from a take-off area.

    Parameters
    ----------
    effective_m
        Any shape: distance from the toe to the nearest mark in the sand, metres.
    toe_m
        The same shape: toe-to-line distance, positive behind the line.
    depth_m
        Of the area.

    Returns
    -------
    ndarray
        Rounded down to the centimetre; NaN for a no jump and for what was not measured.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, distances or a depth that are not above 0, a
        depth beyond `DEEPEST_M`.

    Notes
    -----
    Within the area the jump counts from the foot (organisers of the World Championships 2023 in
    Paris, read: from the last print in the chalk to the print in the sand): all of the effective
    distance D. Before it the jump counts from where the area begins, ``D - (X - depth)``; beyond
    the line it is a no jump (both from memory). Sighted classes lose the toe-to-board distance,
    ``D - X``.

    Examples
    --------
    >>> official_distance([5.428, 5.428, 5.428], [0.40, 1.10, -0.02]).tolist()
    [5.42, 5.32, nan]
    """
    effective = np.asarray(effective_m, dtype=np.float64)
    toe = np.asarray(toe_m, dtype=np.float64)
    _check_depth(depth_m)
    if effective.shape != toe.shape:
        raise ValueError(f"effective_m and toe_m do not fit: {effective.shape}, {toe.shape}")
    conventions.check_not_infinite(effective, name="effective_m")
    conventions.check_not_infinite(toe, name="toe_m")
    if np.any(effective <= 0):
        raise ValueError("effective_m must be above 0")
    counted = effective - np.maximum(toe - depth_m, 0.0)
    return np.where(toe < 0, np.nan, np.floor(100 * counted + 1e-9) / 100)


def aim_in_area(
    toe: NextAttempts,
    distance: NextAttempts,
    *,
    attempts_left: int = 1,
    best_m: float | None = None,
    depth_m: float = AREA_DEPTH_M,
) -> AreaAdvice:
    """Say where in the take-off area to aim.

    Parameters
    ----------
    toe, distance
        `next_attempts.expect_toe` and `expect_distance` of the athlete's jumps.
    attempts_left
        Attempts that are jumped from the same aim, 1 to `MOST_ATTEMPTS`.
    best_m
        Best official distance so far; None for none.
    depth_m
        Of the area.

    Returns
    -------
    AreaAdvice

    Raises
    ------
    ValueError
        Attempts outside their range, a best or a depth that is not above 0 and finite.

    Notes
    -----
    A foot beyond the line loses the whole jump, one before the area only the centimetres by which
    it is short. So with one attempt left the middle is not the best aim of an athlete who spreads
    widely: with an SD of 0.29 m it lies at 0.75 m and brings 0.18 m more. With several left the
    best counts, a lost one is made up for, and the middle is as good as any.

    Toe and effective distance are taken as independent; both are integrated over what may be true
    of them (`next_attempts.nodes`), under which all attempts share one truth. ``P(result <= y) =
    P(X < 0) + P(inside) P(D <= y) + integral over X > depth of P(D <= y + X - depth)``; the
    expected best of m follows from its power m. Rounding down takes about 5 mm from every aim and
    is left out.

    The athlete cannot see the pit: the coach on the spot and the caller decide, and stop any run
    that leaves the middle of the runway (common practice, no source); pain, a wet or uneven runway,
    an unsafe pit or lightning stop the session.

    Source: our model; the rules as in `official_distance`. Spread of class F11 at take-off: SD
    0.29 m in the long jump, 0.25 m in the triple jump (Theodorou & Skordilis 2012, Percept Mot
    Skills 114:595-609, abstract).

    Examples
    --------
    >>> advice = aim_in_area(next_attempts.known(0.5, 0.29), next_attempts.known(5.5, 0.15))
    >>> advice.best.aim_m, round(advice.gain_m, 2), round(advice.middle.probability_no_jump, 3)
    (0.75, 0.18, 0.042)
    """
    _check_depth(depth_m)
    if not 1 <= attempts_left <= MOST_ATTEMPTS:
        raise ValueError(f"attempts_left must lie between 1 and {MOST_ATTEMPTS}")
    if best_m is not None and not 0 < best_m < np.inf:
        raise ValueError(f"best_m must be above 0 and finite, got {best_m}")
    near = next_attempts.nodes(toe, n_sds=_NODES[0], n_means=_NODES[1])
    near = Nodes(near.mean_m - toe.mean_m, near.sd_m, near.weight)
    far = next_attempts.nodes(distance, n_sds=_NODES[0], n_means=_NODES[1])
    count = round(depth_m / AIM_STEP_M)
    aims = [
        _aim(each, near, far, attempts=attempts_left, best=best_m or 0.0, depth=depth_m)
        for each in np.append(np.arange(count + 1) * AIM_STEP_M, depth_m / 2)
    ]
    middle = aims.pop()
    values = np.array([each.expected_m for each in aims])
    best = int(np.argmax(values))
    poor = np.flatnonzero(values < values[best] - NEARLY_BEST_M)
    first = int(poor[poor < best].max(initial=-1)) + 1
    last = int(poor[poor > best].min(initial=values.size)) - 1
    return AreaAdvice(
        n_toes=toe.n,
        n_distances=distance.n,
        best=aims[best],
        middle=middle,
        good_from_m=aims[first].aim_m,
        good_to_m=aims[last].aim_m,
        gain_m=aims[best].expected_m - middle.expected_m,
        from_memory=FROM_MEMORY,
    )


def _aim(
    aim: float, near: Nodes, far: Nodes, *, attempts: int, best: float, depth: float
) -> AreaAim:
    mean = aim + near.mean_m
    beyond = special.ndtr(-mean / near.sd_m)
    before = special.ndtr((mean - depth) / near.sd_m)
    inside = np.maximum(1 - beyond - before, 0.0)
    # Toes before the area, and how likely each is, shape (truths of the toe, places).
    place, place_weight = legendre(_PLACES)
    last = np.maximum(mean + _FARTHEST_SDS * near.sd_m, depth)
    short = (last - depth)[:, None] * place
    z = (depth + short - mean[:, None]) / near.sd_m[:, None]
    density = np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi) / near.sd_m[:, None]
    weight = density * (last - depth)[:, None] * place_weight
    # What the quadrature rounds must not make or lose probability.
    total = weight.sum(axis=1)
    ever = total > _NEVER
    weight[ever] *= (before[ever] / total[ever])[:, None]

    poorest = np.min(far.mean_m - _SLOWEST_JUMP_SDS * far.sd_m) - float(short.max())
    low = max(best, float(poorest), 0.0)
    high = max(float(np.max(far.mean_m + _SLOWEST_JUMP_SDS * far.sd_m)), low)
    result = np.linspace(low, high, _RESULTS)
    reach = (result[:, None] - far.mean_m) / far.sd_m
    late = special.ndtr(reach[:, :, None, None] + short / far.sd_m[:, None, None])
    # Shape (results, truths of the distance, truths of the toe).
    at_most = beyond + inside * special.ndtr(reach)[:, :, None] + np.sum(weight * late, axis=3)
    missed = np.einsum("ydt,d,t->y", np.minimum(at_most, 1.0) ** attempts, far.weight, near.weight)
    nothing = float(near.weight @ beyond**attempts)
    expected = best + (low - best) * (1 - nothing) + float(np.trapezoid(1 - missed, result))
    return AreaAim(
        aim_m=round(float(aim), 3),
        expected_m=expected,
        probability_no_jump=float(near.weight @ beyond),
        probability_inside=float(near.weight @ inside),
        probability_before=float(near.weight @ before),
    )


def _check_depth(depth_m: float) -> None:
    if not 0 < depth_m <= DEEPEST_M:
        raise ValueError(f"depth_m must be above 0 and at most {DEEPEST_M:g} m, got {depth_m}")
