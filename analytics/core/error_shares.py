"""Where the error at the board comes from: start, acceleration, transition, attack."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core import conventions
from analytics.core.conventions import DEFAULT_LEVEL, FloatArray, IntArray, NotEnoughAttempts

PARTS = ("start", "acceleration", "transition", "attack")
"""Parts of a run-up in the order in which they are run; the first is where it began."""

MIN_ATTEMPTS = 8
"""Complete attempts below which nothing is said; one more for each further plan revision."""

DEFAULT_RESAMPLES = 1000


@dataclass(frozen=True, slots=True)
class PlannedParts:
    """Where the plan puts the ends of the parts, in metres behind the take-off line.

    Each is one number, or shape (n,) where plan revisions differ.
    """

    start_mark_m: npt.ArrayLike
    transition_m: npt.ArrayLike
    attack_m: npt.ArrayLike
    aim_m: npt.ArrayLike


@dataclass(frozen=True, slots=True)
class ErrorShares:
    """What each part did to the error at the board. Arrays of shape (4,) are by `PARTS`.

    Attributes
    ----------
    n, n_incomplete
        Complete attempts, and those left out because a place is missing.
    mean_m, mean_low_m, mean_high_m
        Mean error that the part made, with its t interval: positive, it ended farther from the
        pit than its start asked for.
    covariance_share
        ``cov(part, e) / var(e)``: the books. They sum to 1, and are negative where a part repairs.
    repair
        Share of the error before it that the part takes back, 0 for the start.
    added_sd_m
        Spread that the part adds itself: what is left once its repair is taken off.
    board_share, board_share_low, board_share_high
        Share of the variance at the board that this added spread is, after the later parts have
        repaired it; never negative, sums to 1. Interval by resampling whole attempts.
    adds_most
        Place in `PARTS` of the largest `added_sd_m`.
    adds_most_frequency
        Shape (4,): how often each part added most among the resampled attempts.
    error_sd_m
        SD of the error at the board in these attempts, within plan revisions.
    """

    n: int
    n_incomplete: int
    mean_m: FloatArray
    mean_low_m: FloatArray
    mean_high_m: FloatArray
    covariance_share: FloatArray
    repair: FloatArray
    added_sd_m: FloatArray
    board_share: FloatArray
    board_share_low: FloatArray
    board_share_high: FloatArray
    adds_most: int
    adds_most_frequency: FloatArray
    error_sd_m: float


def error_shares(
    start_mark_m: npt.ArrayLike,
    transition_m: npt.ArrayLike,
    attack_m: npt.ArrayLike,
    board_toe_m: npt.ArrayLike,
    *,
    planned: PlannedParts,
    rng: np.random.Generator,
    revision: npt.ArrayLike | None = None,
    n_resamples: int = DEFAULT_RESAMPLES,
    level: float = DEFAULT_LEVEL,
) -> ErrorShares | NotEnoughAttempts:
    """Share out the error at the board among the parts of the run-up.

    Parameters
    ----------
    start_mark_m, transition_m, attack_m, board_toe_m
        Shape (n,), metres behind the take-off line: where the run began, the footfalls at which
        transition and attack begin, and the take-off toe; NaN where missing.
    planned
        The same places as the plan has them.
    rng
        Source of chance of the resampling; the same seed gives the same intervals.
    revision
        Shape (n,), labels of the plan revision; spread is taken within it.
    n_resamples
        Resamples; 0 leaves intervals of the shares and frequencies NaN.
    level
        Of the intervals.

    Returns
    -------
    ErrorShares or NotEnoughAttempts
        `MIN_ATTEMPTS` complete attempts are needed, one more for each further revision.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite distances, a plan that is not finite, fewer than 0
        resamples, a level outside (0, 1).

    Notes
    -----
    With ``u_0 = start - planned start``, and ``u_j`` the deviation of the footfall that ends part
    j from its place in the plan, part j made ``p_j = u_j - u_(j-1)`` and
    ``e = toe - aim = u_0 + p_1 + p_2 + p_3`` exactly. So ``cov(p_j, e) / var(e)`` sum to 1.

    These books mislead as advice. Where the acceleration errs with SD 0.20 m and the attack adds
    0.04 m of its own, the acceleration's share is 2, 0 or -2 as the attack repairs 90, 100 or
    110 % of its error. So each part is regressed on the deviation before it,
    ``p_j = -g_j u_(j-1) + r_j``. The residual is what the part adds itself;
    ``var(u_j) = (1 - g_j)^2 var(u_(j-1)) + var(r_j)`` holds exactly for least squares, hence
    ``prod over later parts of (1 - g)^2 x var(r_j) / var(e)`` sum to 1.

    Residual SDs have ``n - revisions`` degrees of freedom for the start, one less for the parts
    that are regressed; the shares use sums of squares, so that they close. Resampling draws whole
    attempts within each revision.

    Edge cases: a start without spread (one mark, met exactly) has repair 0 after it. An error at
    the board without spread leaves the shares NaN.

    Source: ours; an identity, and least squares.

    Examples
    --------
    >>> rng = np.random.default_rng(4)
    >>> start = np.full(40, 30.0)
    >>> transition = 20 + rng.normal(0, 0.20, 40)
    >>> attack = 10 + 0.5 * (transition - 20) + rng.normal(0, 0.05, 40)
    >>> board = 0.06 + 0.2 * (attack - 10) + rng.normal(0, 0.03, 40)
    >>> plan = PlannedParts(start_mark_m=30.0, transition_m=20.0, attack_m=10.0, aim_m=0.06)
    >>> found = error_shares(start, transition, attack, board, planned=plan, rng=rng)
    >>> PARTS[found.adds_most], bool(abs(found.board_share.sum() - 1) < 1e-12)
    ('acceleration', True)
    """
    deviation = _deviations((start_mark_m, transition_m, attack_m, board_toe_m), planned)
    conventions.check_level(level)
    if n_resamples < 0:
        raise ValueError(f"n_resamples must not be negative, got {n_resamples}")
    n_all = deviation.shape[0]
    labels = conventions.group_by(revision, n=n_all).index
    complete = ~np.isnan(deviation).any(axis=1)
    groups = conventions.group_by(labels[complete], n=int(complete.sum()))
    n = int(complete.sum())
    needed = MIN_ATTEMPTS + max(groups.n_groups - 1, 0)
    if n < needed:
        return NotEnoughAttempts(n=n, needed=needed)

    kept = deviation[complete]
    parts = np.column_stack([kept[:, 0], np.diff(kept, axis=1)])
    within = _centre_columns(kept, groups.index)
    repair, squares, share = _chain(within[None])
    drawn = _resampled(kept, groups, n_resamples, rng)
    _, drawn_squares, drawn_share = _chain(drawn)
    df = n - groups.n_groups - np.array([0, 1, 1, 1])
    means, low, high = _mean_intervals(parts, groups, level)
    error = within[:, -1]
    variance = float(error @ error)
    books = np.full(4, np.nan)
    if variance > n * conventions.NO_SPREAD_M**2:
        books = _centre_columns(parts, groups.index).T @ error / variance
    ends = np.full((2, 4), np.nan)
    frequency = np.full(4, np.nan)
    if n_resamples and not np.isnan(share).any():
        tail = (1 - level) / 2
        ends = np.nanquantile(drawn_share, [tail, 1 - tail], axis=0)
        frequency = np.bincount(np.argmax(drawn_squares / df, axis=1), minlength=4) / n_resamples
    added = np.sqrt(squares[0] / df)
    return ErrorShares(
        n=n,
        n_incomplete=n_all - n,
        mean_m=means,
        mean_low_m=low,
        mean_high_m=high,
        covariance_share=books,
        repair=repair[0],
        added_sd_m=added,
        board_share=share[0],
        board_share_low=ends[0],
        board_share_high=ends[1],
        adds_most=int(np.argmax(added)),
        adds_most_frequency=frequency,
        error_sd_m=float(np.sqrt(variance / (n - groups.n_groups))),
    )


def _deviations(places: tuple[npt.ArrayLike, ...], planned: PlannedParts) -> FloatArray:
    """Return shape (n, 4): how far each place is from where the plan puts it."""
    wanted = (planned.start_mark_m, planned.transition_m, planned.attack_m, planned.aim_m)
    arrays = [np.asarray(place, dtype=np.float64) for place in places]
    shape = arrays[0].shape
    if len(shape) != 1 or any(array.shape != shape for array in arrays):
        raise ValueError(
            f"the four places need one value for each attempt, "
            f"got shapes {[array.shape for array in arrays]}"
        )
    columns = []
    for name, array, plan in zip(
        ("start_mark_m", "transition_m", "attack_m", "aim_m"), arrays, wanted, strict=True
    ):
        conventions.check_not_infinite(array, name=name)
        place = np.asarray(plan, dtype=np.float64)
        if place.shape not in {(), shape} or not np.all(np.isfinite(place)):
            raise ValueError(f"planned {name} must be one finite number, or one for each attempt")
        columns.append(array - place)
    return np.column_stack(columns)


def _centre_columns(values: FloatArray, labels: IntArray) -> FloatArray:
    counts = np.bincount(labels)
    member = np.equal.outer(np.arange(counts.size), labels).astype(np.float64)
    left = values - ((member @ values) / counts[:, None])[labels]
    # The second pass takes out what rounding left of the mean.
    return np.asarray(left - ((member @ left) / counts[:, None])[labels], dtype=np.float64)


def _chain(within: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return repair, residual sums of squares and board shares, each (r, 4), of r sets of attempts.

    `within` has shape (r, n, 4): deviations at the ends of the parts, centred.
    """
    before, after = within[:, :, :-1], within[:, :, 1:]
    size = np.einsum("rnj,rnj->rj", before, before)
    cross = np.einsum("rnj,rnj->rj", before, after)
    steady = size <= within.shape[1] * conventions.NO_SPREAD_M**2
    passed = np.where(steady, 1.0, cross / np.where(steady, 1.0, size))  # 1 - g
    left = after - passed[:, None, :] * before
    squares = np.concatenate(
        [
            np.einsum("rn,rn->r", within[:, :, 0], within[:, :, 0])[:, None],
            np.einsum("rnj,rnj->rj", left, left),
        ],
        axis=1,
    )
    ones = np.ones((within.shape[0], 1))
    later = np.concatenate([np.cumprod(passed[:, ::-1] ** 2, axis=1)[:, ::-1], ones], axis=1)
    reaching = later * squares
    total = reaching.sum(axis=1, keepdims=True)
    still = total <= within.shape[1] * conventions.NO_SPREAD_M**2
    share = np.where(still, np.nan, reaching / np.where(still, 1.0, total))
    repair = np.concatenate([0 * ones, 1 - passed], axis=1)
    return repair, squares, share


def _resampled(
    kept: FloatArray, groups: conventions.Groups, n_resamples: int, rng: np.random.Generator
) -> FloatArray:
    """Return shape (r, n, 4): attempts drawn within each revision, centred."""
    order = np.argsort(groups.index, kind="stable")
    ordered, labels = kept[order], groups.index[order]
    first = (np.cumsum(groups.counts) - groups.counts)[labels]
    size = groups.counts[labels]
    drawn = first + np.floor(rng.random((n_resamples, labels.size)) * size).astype(np.int64)
    chosen = ordered[drawn]
    member = np.equal.outer(np.arange(groups.n_groups), labels).astype(np.float64)
    means = np.einsum("gn,rnj->rgj", member, chosen) / groups.counts[None, :, None]
    return np.asarray(chosen - means[:, labels], dtype=np.float64)


def _mean_intervals(
    parts: FloatArray, groups: conventions.Groups, level: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    df = parts.shape[0] - groups.n_groups
    left = _centre_columns(parts, groups.index)
    error = np.sqrt((left * left).sum(axis=0) / df / parts.shape[0])
    means = parts.mean(axis=0)
    half = np.array(
        [
            conventions.t_interval(
                estimate=0.0, standard_error=float(each), df=df, level=level
            ).high
            for each in error
        ]
    )
    return means, means - half, means + half
