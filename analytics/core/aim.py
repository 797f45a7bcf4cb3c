"""Where to aim at the board, for the attempts that are left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from analytics.core import next_attempts
from analytics.core.conventions import FloatArray, IntArray
from analytics.core.next_attempts import NextAttempts, Nodes

MOST_ATTEMPTS = 6
"""Attempts of a competition (World Athletics Technical Rules, from memory)."""

AFTER_CUT = 3
"""Attempts that the best 8 have more than the others, where more than 8 take part (from memory)."""

AIM_CAP_M = 0.20
"""No aim lies behind the board: it would be a place that nobody can see. Ours."""

CLOSE_M = 0.01
"""Aims whose expected result is no more than this below the best are as good."""

_CELL_M = 0.01
_CELLS_PER_M = 100
_TOE_SDS = 5.0
_USUAL_SDS = 2.0
_USUAL_TOE_CELLS = 15
_FARTHEST_SDS = 4.5
_POOR_CELLS = 100
_POOR_STEP = 5
_MOST_TOE_CELLS = 200
_MOST_RESULTS = 2000
_AS_GOOD_M = 1e-9
_FARTHEST_RESULT_M = 30.0
_DISTANCE_NODES = (2, 2)
_HARDLY = 1e-5


@dataclass(frozen=True, slots=True)
class AimChoice:
    """An aim for the next attempt.

    Attributes
    ----------
    aim_m
        Where the toe should land on the mean, whole centimetres behind the take-off line.
    expected_m
        Best official distance to be expected at the end; no valid attempt counts as 0.
    probability_no_jump
        Of the next attempt at this aim.
    good_from_m, good_to_m
        The nearest and the farthest aim that lose no more than `CLOSE_M` of what is expected.
    capped
        An aim farther behind the line than the cap would be better still.
    """

    aim_m: float
    expected_m: float
    probability_no_jump: float
    good_from_m: float
    good_to_m: float
    capped: bool


@dataclass(frozen=True, slots=True)
class AimAdvice:
    """Where to aim for the attempts that are left.

    Attributes
    ----------
    n_toes, n_distances
        Attempts that the toe-to-board distance and the effective distance rest on.
    attempts_left, best_m, cut_m
        As asked.
    fixed
        The best single aim for all attempts that are left.
    plan
        The best aim now, when each later aim may follow from the best distance until then.
    while_no_better_m
        Aims of the plan for this attempt and the following ones, as long as none is better than
        `best_m`; shape (attempts left,), shorter if the cut would end it.
    habit_m, habit_expected_m, habit_probability_no_jump
        Where the toe lands now on the mean, and what that is worth if nothing is changed.
    gain_m
        What the plan is worth above the habit.
    move_m
        From the habit to the aim of the plan, positive farther behind the line.
    """

    n_toes: int
    n_distances: int
    attempts_left: int
    best_m: float | None
    cut_m: float | None
    fixed: AimChoice
    plan: AimChoice
    while_no_better_m: tuple[float, ...]
    habit_m: float
    habit_expected_m: float
    habit_probability_no_jump: float
    gain_m: float
    move_m: float


def best_aim(
    toe: NextAttempts,
    distance: NextAttempts,
    *,
    attempts_left: int,
    best_m: float | None = None,
    cut_m: float | None = None,
    cap_m: float = AIM_CAP_M,
) -> AimAdvice:
    """Return the aim that gives the best result to be expected from the attempts left.

    Parameters
    ----------
    toe
        From `next_attempts.expect_toe`.
    distance
        From `next_attempts.expect_distance`.
    attempts_left
        From 1 to `MOST_ATTEMPTS`, those included that only the best 8 get.
    best_m
        Best official distance so far, whole centimetres; None when nothing was scored.
    cut_m
        Official distance that will be needed to be among the best 8, as the coach expects it: only
        who has it gets the last `AFTER_CUT` attempts. None when there is no cut, or it is passed.
    cap_m
        Farthest aim, whole centimetres behind the line.

    Raises
    ------
    ValueError
        Attempts, distances or a cap out of their range, or a cut with `AFTER_CUT` attempts or
        fewer left, when it lies behind.

    Notes
    -----
    With toe-to-board distance X and effective distance D the official distance is
    ``floor(100 (D - X) + 1e-9) / 100`` when X >= 0, and nothing otherwise. Aiming at a moves X so
    that its mean is a, which the start mark does; spread and what is unknown stay. D is taken as
    independent of X.

    Fixed aim: ``max over a of E[max(best, best of m)]``. Plan:
    ``V_0(b) = b, V_m(b) = max over a of E[V_(m-1)(max(b, official))]``; before the last three
    ``V(b) = b`` for b below the cut. Mean and SD of X and of D are unknown and shared by all
    attempts: each expectation is taken over them (`next_attempts.nodes`), and a plan is valued
    under each of the possible truths with the same aims. A plan follows the best distance only. It
    does not foresee that the attempts to come will also show where the toe lands: ask again
    before each attempt, with all toes so far.

    X is counted in cells of 1 cm, D carries less variance by what that adds (Sheppard's
    correction); results are whole centimetres, as officials measure them. Aims are whole
    centimetres too, nobody sets a mark finer. The value agrees with brute force over aims of
    1 mm within 0.0005 m; where the effective distance spreads by less than 0.08 m, it may
    be 0.0015 m too low.

    Edge cases: where no aim can improve on `best_m` any more, the one with the least risk among
    equals is returned, and the gain is 0.

    Source: ours; backward induction is textbook.

    Examples
    --------
    >>> from analytics.core.next_attempts import known
    >>> advice = best_aim(known(0.10, 0.08), known(6.50, 0.12), attempts_left=3)
    >>> advice.fixed.aim_m, round(advice.fixed.expected_m, 3)
    (0.1, 6.474)
    >>> advice.plan.aim_m, advice.while_no_better_m
    (0.08, (0.08, 0.11, 0.2))
    """
    best, cut, cap = _checked(attempts_left, best_m, cut_m, cap_m)
    truths = _truths(toe, distance)
    results = _results(truths, best)
    before_cut = attempts_left - AFTER_CUT if cut is not None else 0
    n_below_cut = 0 if cut is None else int(np.count_nonzero(results.value_m < cut))
    stages = _Stages(attempts_left, before_cut, n_below_cut)
    table = _table(truths, results, mean_m=0.0, n_aims=cap + 2)
    habit = _table(truths, results, mean_m=toe.mean_m, n_aims=1)
    fixed = _choice(table, _fixed_values(table, stages))
    values, aims = _plan_values(table, stages)
    plan = _choice(table, values)
    habit_expected = float(_fixed_values(habit, stages)[0])
    return AimAdvice(
        n_toes=toe.n,
        n_distances=distance.n,
        attempts_left=attempts_left,
        best_m=best_m,
        cut_m=cut_m,
        fixed=fixed,
        plan=plan,
        while_no_better_m=aims,
        habit_m=toe.mean_m,
        habit_expected_m=habit_expected,
        habit_probability_no_jump=float(habit.risk[0]),
        gain_m=max(0.0, plan.expected_m - habit_expected),
        move_m=plan.aim_m - toe.mean_m,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Truths:
    """Possible truths, each a pair of one about the toe and one about the distance.

    Attributes
    ----------
    toe, distance
        Shape (x,) and (d,); the toe's means are counted from the mean expected.
    of_toe, of_distance, weight
        Shape (t,): which of them a truth is made of, and its weight.
    """

    toe: Nodes
    distance: Nodes
    of_toe: IntArray
    of_distance: IntArray
    weight: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Results:
    """Official distances that the attempts left may bring, in rising order.

    Attributes
    ----------
    cells
        Shape (y,): whole centimetres; only those far below what is usual are some apart.
    value_m
        Shape (y + 1,): the best so far (0 when there is none), and what each result counts.
    poorest_counts_for_all
        Whatever is poorer than the first counts as that.
    """

    cells: IntArray
    value_m: FloatArray
    poorest_counts_for_all: bool


@dataclass(frozen=True, slots=True)
class _Stages:
    """Attempts left in all, those before the cut (0: none counts), and how many of the results,
    counted from the best so far, lie below it."""

    attempts: int
    before_cut: int
    n_below_cut: int


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """What one attempt gives, for each aim and each possible truth.

    Attributes
    ----------
    result_m
        Shape (y + 1,): the best so far (0 when there is none), then every better result.
    reaches
        Shape (a, y, t): probability of at least that result, for all but the first.
    risk
        Shape (a,): probability of a no jump.
    weight
        Shape (t,), of the truths.
    """

    result_m: FloatArray
    reaches: FloatArray
    risk: FloatArray
    weight: FloatArray


def _truths(toe: NextAttempts, distance: NextAttempts) -> _Truths:
    """Return few possible truths without those that hardly weigh."""
    near = next_attempts.nodes(toe)
    far = next_attempts.nodes(distance, n_sds=_DISTANCE_NODES[0], n_means=_DISTANCE_NODES[1])
    pairs = np.outer(far.weight, near.weight)
    order = np.argsort(pairs, axis=None)
    light = np.cumsum(pairs.ravel()[order]) < _HARDLY
    of_distance, of_toe = np.unravel_index(np.sort(order[~light]), pairs.shape)
    weight = pairs[of_distance, of_toe]
    return _Truths(
        toe=Nodes(near.mean_m - toe.mean_m, near.sd_m, near.weight),
        distance=far,
        of_toe=of_toe,
        of_distance=of_distance,
        weight=weight / weight.sum(),
    )


def _results(truths: _Truths, best: int | None) -> _Results:
    """Return the best so far, and all better results that may come."""
    mean, sd = truths.distance.mean_m, truths.distance.sd_m
    usual = int(np.min(mean - _USUAL_SDS * sd) * _CELLS_PER_M) - _USUAL_TOE_CELLS
    poorest = usual - _POOR_CELLS
    farthest = int(np.max(mean + _FARTHEST_SDS * sd) * _CELLS_PER_M) + 1
    first = max(1, poorest) if best is None else max(1, poorest, best + 1)
    each = np.arange(max(first, usual), max(farthest, first + 1) + 1)
    poor = np.arange(first, each[0], _POOR_STEP)
    if each.size > _MOST_RESULTS:
        raise ValueError("the distances spread too widely to tell one result from another")
    # A poor result stands for the few that follow it, and counts as their mean.
    last = np.append(poor[1:], each[0]) - 1
    now = 0 if best is None else best
    return _Results(
        cells=np.concatenate([poor, each]),
        value_m=np.concatenate([[now], (poor + last) / 2, each]) / _CELLS_PER_M,
        poorest_counts_for_all=first == poorest,
    )


def _table(truths: _Truths, results: _Results, *, mean_m: float, n_aims: int) -> _Table:
    """Return what an attempt gives at `n_aims` aims, 1 cm apart, the first of them `mean_m`.

    With p[i] the probability of the toe in cell i behind the aim and G[k] that the distance is k
    cells or more, ``S_a(y) = sum over i >= -a of p[i] G[y + a + i]`` is that of the result y. So
    ``S_(a+1)(y) = S_a(y + 1) + p[-a - 1] G[y]``: only the first aim needs a sum.
    """
    toe, distance = truths.toe, truths.distance
    reach = float(np.max(toe.mean_m + _TOE_SDS * toe.sd_m)) + max(mean_m, 0.0)
    n_cells = int(np.clip(reach / _CELL_M, n_aims, _MOST_TOE_CELLS)) + 1
    edge_m = _CELL_M * np.arange(-n_aims, n_cells + 1) - mean_m
    below = special.ndtr((edge_m[:, None] - toe.mean_m) / toe.sd_m)
    cell = np.diff(below, axis=0)
    cell[-1] += 1 - below[-1]  # all that lands farther back

    first = int(results.cells[0])
    kept = results.cells - first
    n_rows = int(kept[-1]) + n_aims
    place_m = _CELL_M * (first + 0.5 + np.arange(n_rows + n_cells))
    own_sd = np.sqrt(distance.sd_m**2 - _CELL_M**2 / 12)
    at_least = special.ndtr((distance.mean_m - place_m[:, None]) / own_sd)
    windows = np.lib.stride_tricks.sliding_window_view(at_least[:-1], n_cells, axis=0)
    reaches = np.empty((n_aims, kept.size, truths.weight.size))
    row = (windows @ cell[n_aims:])[:, truths.of_distance, truths.of_toe]
    cell, at_least = cell[:, truths.of_toe], at_least[:, truths.of_distance]
    for aim in range(n_aims):
        reaches[aim] = row[kept]
        row = row[1:] + cell[n_aims - aim - 1] * at_least[: row.shape[0] - 1]
    risk = below[n_aims:0:-1]
    if results.poorest_counts_for_all:
        reaches[:, 0] = 1 - risk[:, truths.of_toe]
    return _Table(
        result_m=results.value_m,
        reaches=reaches,
        risk=risk @ toe.weight,
        weight=truths.weight,
    )


def _fixed_values(table: _Table, stages: _Stages) -> FloatArray:
    """Return the expected best result of each aim, kept to the end; shape (a,)."""
    steps = np.diff(table.result_m)
    expected = np.empty(table.risk.size)
    for aim, reaches in enumerate(table.reaches):
        worse = 1 - reaches
        if stages.before_cut == 0 or stages.n_below_cut == 0:
            all_worse = _power(worse, stages.attempts)
        else:
            all_worse = _power(worse, stages.before_cut)
            past = all_worse[stages.n_below_cut - 1 :]
            cut_off = past[:1].copy()
            past[...] = cut_off + (past - cut_off) * _power(
                worse[stages.n_below_cut - 1 :], AFTER_CUT
            )
        expected[aim] = steps @ (1 - all_worse @ table.weight)
    return np.asarray(table.result_m[0] + expected, dtype=np.float64)


def _plan_values(table: _Table, stages: _Stages) -> tuple[FloatArray, tuple[float, ...]]:
    """Return the expected best result of each aim for the next attempt, later aims being the best.

    And the aims while nothing better than the best so far is scored.
    """
    value = np.broadcast_to(table.result_m[:, None], (table.result_m.size, table.weight.size))
    aims: list[float] = []
    expected = np.empty(0)
    for left in range(1, stages.attempts + 1):
        if stages.before_cut and left == stages.attempts - stages.before_cut + 1:
            value = value.copy()
            value[: stages.n_below_cut] = table.result_m[: stages.n_below_cut, None]
            if stages.n_below_cut:
                aims = []
        gain = np.diff(value, axis=0)
        gained = np.einsum("yt,ayt->ay", gain * table.weight, table.reaches)
        ahead = np.append(
            np.cumsum(gained[:, ::-1], axis=1)[:, ::-1], np.zeros((len(gained), 1)), 1
        )
        chosen = _best_row(ahead[:-1])
        aims.append(float(chosen[0]) / _CELLS_PER_M)
        expected = value[0] @ table.weight + ahead[:, 0]
        if left < stages.attempts:
            value = value + _gains_under(chosen, gain, table.reaches)
    return expected, tuple(reversed(aims))


def _gains_under(chosen: IntArray, gain: FloatArray, reaches: FloatArray) -> FloatArray:
    """Return what each best so far gains by the aim chosen for it; shape (y + 1, t)."""
    gained = np.zeros((chosen.size, gain.shape[1]))
    ends = np.flatnonzero(np.diff(chosen[:-1], append=-1)) + 1
    first = 0
    for end in ends:  # neighbours with the same aim share what lies above them
        own = gain[first:end] * reaches[chosen[first], first:end]
        if end < gain.shape[0]:
            own[-1] += np.einsum("yt,yt->t", gain[end:], reaches[chosen[first], end:])
        gained[first:end] = np.cumsum(own[::-1], axis=0)[::-1]
        first = int(end)
    return gained


def _best_row(values: FloatArray) -> IntArray:
    """Return the row of the largest value in each column; of equals the last, the safest aim."""
    as_good = values >= values.max(axis=0) - _AS_GOOD_M
    return np.asarray(values.shape[0] - 1 - np.argmax(as_good[::-1], axis=0))


def _choice(table: _Table, expected: FloatArray) -> AimChoice:
    within = expected[:-1]
    best = int(_best_row(within[:, None])[0])
    good = np.flatnonzero(within >= within.max() - CLOSE_M)
    return AimChoice(
        aim_m=best / _CELLS_PER_M,
        expected_m=float(within[best]),
        probability_no_jump=float(table.risk[best]),
        good_from_m=float(good[0]) / _CELLS_PER_M,
        good_to_m=float(good[-1]) / _CELLS_PER_M,
        capped=bool(expected[-1] > within.max() + _AS_GOOD_M),
    )


def _power(values: FloatArray, exponent: int) -> FloatArray:
    """Return values to a whole power from 1 to 6; several times faster than ``**``."""
    product = values
    for _ in range(exponent - 1):
        product = product * values
    return product.copy() if exponent == 1 else product


def _checked(
    attempts_left: int, best_m: float | None, cut_m: float | None, cap_m: float
) -> tuple[int | None, float | None, int]:
    if not 1 <= attempts_left <= MOST_ATTEMPTS:
        raise ValueError(f"attempts_left must be 1 to {MOST_ATTEMPTS}, got {attempts_left}")
    if cut_m is not None and attempts_left <= AFTER_CUT:
        raise ValueError(f"with {AFTER_CUT} attempts left or fewer the cut is passed")
    for name, value in (("best_m", best_m), ("cut_m", cut_m)):
        if value is not None and not 0 < value < _FARTHEST_RESULT_M:
            raise ValueError(f"{name} must lie between 0 and {_FARTHEST_RESULT_M}, got {value}")
    if not _CELL_M <= cap_m <= 1:
        raise ValueError(f"cap_m must lie between {_CELL_M} and 1, got {cap_m}")
    for name, value in (("best_m", best_m), ("cut_m", cut_m), ("cap_m", cap_m)):
        if value is not None and abs(value * _CELLS_PER_M - round(value * _CELLS_PER_M)) > 1e-6:
            raise ValueError(f"{name} must be whole centimetres, got {value}")
    best = None if best_m is None else round(best_m * _CELLS_PER_M)
    # Half a centimetre below, so that rounding of a decimal does not decide who has reached it.
    cut = None if cut_m is None else (round(cut_m * _CELLS_PER_M) - 0.5) / _CELLS_PER_M
    return best, cut, round(cap_m * _CELLS_PER_M)
