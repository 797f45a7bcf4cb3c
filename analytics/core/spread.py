"""How the spread of the footfalls grows and shrinks along the run-up, and where steering begins."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import censored, conventions
from analytics.core.conventions import (
    DEFAULT_LEVEL,
    BoolArray,
    FloatArray,
    IntArray,
    NotEnoughAttempts,
)

MIN_ATTEMPTS = 6
"""Measured footfalls of one k below which its spread is not given; one more for each further plan
revision. At 6 the onset is right within one footfall in about 6 cases of 10 (simulated)."""

SHOWN_BELOW_P = 0.05
"""One-sided p below which the fall of the spread toward the board counts as shown."""

LATE_FROM_FOOTFALL = 2
"""An onset here or nearer leaves the correction to the last two steps."""

DEFAULT_RESAMPLES = 500
# Of so many distances resamples are judged together: one by one each step takes the interpreter as
# long as the arithmetic, all at once would need memory without end.
_CELLS_AT_ONCE = 100_000


class Phase(StrEnum):
    """The three phases of a run-up, in order."""

    ACCELERATION = "acceleration"
    TRANSITION = "transition"
    ATTACK = "attack"


@dataclass(frozen=True, slots=True)
class PhaseStarts:
    """Footfalls at which the plan lets the second and the third phase begin."""

    transition: int
    attack: int

    def __post_init__(self) -> None:
        if not self.transition > self.attack > 0:
            raise ValueError(
                f"the transition must start before the attack and both before the board, "
                f"got footfalls {self.transition} and {self.attack}"
            )

    def phase_at(self, footfall: int) -> Phase:
        """Return the phase that begins or goes on at a footfall.

        Examples
        --------
        >>> PhaseStarts(transition=10, attack=6).phase_at(6).value
        'attack'
        """
        if footfall > self.transition:
            return Phase.ACCELERATION
        return Phase.TRANSITION if footfall > self.attack else Phase.ATTACK


@dataclass(frozen=True, slots=True)
class Onset:
    """Where steering begins.

    Attributes
    ----------
    footfall
        k of the largest spread: the steps from it on make the spread smaller.
    distance_m
        Mean distance of that footfall from the take-off line.
    phase
        None without phases.
    is_late
        The last two steps are left to correct.
    adjustment_percent
        Shape (footfall,): share of the whole fall that steps ``footfall`` to 1 made, in that
        order; they sum to 100. Negative where the spread grew, NaN where it is not known.
    """

    footfall: int
    distance_m: float
    phase: Phase | None
    is_late: bool
    adjustment_percent: FloatArray


@dataclass(frozen=True, slots=True)
class FootfallSpread:
    """Spread of each footfall; arrays of shape (K,) are by k, 0 the take-off foot.

    Attributes
    ----------
    n, n_unmeasured_no_jumps
        Attempts with any measured footfall, and those among all whose take-off toe was beyond the
        line and not measured.
    n_measured, df
        Shape (K,): measured footfalls and the degrees of freedom of their SD.
    mean_m
        Shape (K,): mean distance from the line.
    sd_m, sd_low_m, sd_high_m
        Shape (K,): SD within plan revisions and its chi-square interval; NaN: not enough to say.
    within_session_sd_m
        Shape (K,): SD within sessions; all NaN without session labels.
    largest_at
        k of the largest SD, whether or not it makes an onset.
    fall_p_value
        One-sided p of the fall from there to the board; None if the largest is at 0 or 1.
    onset
        None when no steering is shown.
    onset_frequency, no_onset_frequency
        Shape (K,): how often each k > 1 had the largest spread among resampled attempts, and how
        often that was k = 0 or 1. They say how sure the place is; `fall_p_value` says whether
        there is an onset at all.
    """

    n: int
    n_unmeasured_no_jumps: int
    n_measured: IntArray
    df: FloatArray
    mean_m: FloatArray
    sd_m: FloatArray
    sd_low_m: FloatArray
    sd_high_m: FloatArray
    within_session_sd_m: FloatArray
    largest_at: int
    fall_p_value: float | None
    onset: Onset | None
    onset_frequency: FloatArray
    no_onset_frequency: float


def footfall_spread(
    toe_m: npt.ArrayLike,
    no_jump: npt.ArrayLike,
    *,
    rng: np.random.Generator,
    session: npt.ArrayLike | None = None,
    revision: npt.ArrayLike | None = None,
    phase_starts: PhaseStarts | None = None,
    n_resamples: int = DEFAULT_RESAMPLES,
    level: float = DEFAULT_LEVEL,
) -> FootfallSpread | NotEnoughAttempts:
    """Return the spread of each footfall and the onset of steering.

    Parameters
    ----------
    toe_m
        Shape (n, K), metres behind the take-off line: attempt j, footfall k; NaN where missing.
    no_jump
        Shape (n,), booleans.
    rng
        Source of chance of the resampling; the same seed gives the same frequencies.
    session, revision
        Shape (n,), labels of the session and the plan revision.
    phase_starts
        Of the plan.
    n_resamples
        Resamples; 0 leaves the frequencies NaN.
    level
        Of the intervals.

    Returns
    -------
    FootfallSpread or NotEnoughAttempts
        `MIN_ATTEMPTS` measured take-off toes, one more for each further revision, are needed, and
        as many of one footfall k > 1.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite distances, fewer than three footfalls.

    Notes
    -----
    The onset is the footfall of the largest SD (Hay 1988, Int J Sport Biomech 4:114-129); equal
    SDs go to the one nearer the line. There is none if that is footfall 1 or 0, or if the fall to
    the board is not shown by the one-sided test of Pitman 1939 and Morgan 1939 (Biometrika
    31:9-19, from memory): with the two centred distances x and y of the same attempts, the
    correlation r of ``x + y`` and ``x - y`` against t with ``n - g - 1`` degrees of freedom.
    A bare largest SD "finds" an onset in a third of athletes who do not steer.

    Share of step k: ``100 (SD_k - SD_(k-1)) / (SD_onset - SD_0)``.

    Where no jumps have no measured toe, SD_0 is that of the censored fit, and the fall is tested
    by the log ratio of the variances from a censored regression of y on x: Pitman-Morgan would
    take the missing tail for steering.

    Resampling draws whole attempts within each revision and takes the measured toes as they are.

    Edge cases: a footfall with too few values is NaN and cannot be the onset. Two footfalls
    without any difference in spread give p = 1.

    Examples
    --------
    >>> toe = [[0.05, 2.1, 4.3], [0.07, 2.2, 4.6], [0.06, 2.0, 4.0], [0.04, 2.1, 4.5],
    ...        [0.08, 2.0, 4.1], [0.06, 2.2, 4.4], [0.05, 2.1, 4.2]]
    >>> found = footfall_spread(toe, [False] * 7, rng=np.random.default_rng(1))
    >>> found.onset.footfall, found.onset.is_late, found.onset.adjustment_percent.round(1).tolist()
    (2, True, [66.3, 33.7])
    """
    toe, beyond = _check_footfalls(toe_m, no_jump)
    conventions.check_level(level)
    revisions = conventions.group_by(revision, n=toe.shape[0])
    unmeasured = beyond & np.isnan(toe[:, 0])
    seen = ~np.isnan(toe)
    n_measured = seen.sum(axis=0).astype(np.int64)
    sd, df = _spread_within(toe, revisions.index, MIN_ATTEMPTS)
    if unmeasured.any() and not np.isnan(sd[0]):
        sd[0], df[0] = _censored_board_spread(toe[:, 0], unmeasured, revisions.index)
    needed = MIN_ATTEMPTS + max(revisions.n_groups - 1, 0)
    if np.isnan(sd[0]) or np.all(np.isnan(sd[2:])):
        return NotEnoughAttempts(n=int(min(n_measured[0], n_measured[2:].max())), needed=needed)
    largest = int(_largest(sd))
    p_value = None
    if largest > 1:
        p_value = _fall_p_value(toe, largest, unmeasured, revisions.index)
    low, high = _interval_factors(df, level)
    means = _column_means(toe)
    frequency, without = _onset_frequencies(toe, revisions.index, n_resamples, rng)
    onset = None
    if p_value is not None and p_value < SHOWN_BELOW_P:
        onset = _describe_onset(largest, sd, means, phase_starts)
    return FootfallSpread(
        n=int(seen.any(axis=1).sum()),
        n_unmeasured_no_jumps=int(unmeasured.sum()),
        n_measured=n_measured,
        df=df,
        mean_m=means,
        sd_m=sd,
        sd_low_m=sd * low,
        sd_high_m=sd * high,
        within_session_sd_m=_within_sessions(toe, session, revision),
        largest_at=largest,
        fall_p_value=p_value,
        onset=onset,
        onset_frequency=frequency,
        no_onset_frequency=without,
    )


def fall_of_spread(
    far_m: npt.ArrayLike, near_m: npt.ArrayLike, *, revision: npt.ArrayLike | None = None
) -> float:
    """Return the one-sided p that the spread of paired distances does not fall from far to near.

    Parameters
    ----------
    far_m, near_m
        Shape (n,), two footfalls of the same attempts; pairs with a NaN are left out.
    revision
        Shape (n,), plan revision; pairs are centred within it.

    Returns
    -------
    float
        Small when the far spread is larger.

    Raises
    ------
    ValueError
        Shapes that do not fit, or fewer than 2 pairs more than there are revisions.

    Notes
    -----
    Pitman-Morgan test, see `footfall_spread`.

    Examples
    --------
    >>> far = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]
    >>> near = [0.5, 0.2, 0.4, 0.6, 0.3, 0.7]
    >>> round(fall_of_spread(far, near), 4)
    0.0002
    """
    far = np.asarray(far_m, dtype=np.float64)
    near = np.asarray(near_m, dtype=np.float64)
    if far.ndim != 1 or far.shape != near.shape:
        raise ValueError(f"pairs need equal lengths, got shapes {far.shape} and {near.shape}")
    labels = conventions.group_by(revision, n=far.size).index
    paired = ~np.isnan(far) & ~np.isnan(near)
    groups = conventions.group_by(labels[paired], n=int(paired.sum()))
    df = int(paired.sum()) - groups.n_groups - 1
    if df < 1:
        raise ValueError("too few pairs to compare two spreads")
    x = conventions.centred(far[paired], groups)
    y = conventions.centred(near[paired], groups)
    total, difference = x + y, x - y
    size = float(np.sqrt((total @ total) * (difference @ difference)))
    if size == 0:
        return 1.0
    r = float(total @ difference) / size
    if abs(r) >= 1:
        return 0.0 if r > 0 else 1.0
    return float(stats.t.sf(r * np.sqrt(df / (1 - r * r)), df))


def _check_footfalls(toe_m: npt.ArrayLike, no_jump: npt.ArrayLike) -> tuple[FloatArray, BoolArray]:
    toe = np.asarray(toe_m, dtype=np.float64)
    if toe.ndim != 2 or toe.shape[1] < 3:
        raise ValueError(f"toe_m needs attempts by at least 3 footfalls, got shape {toe.shape}")
    conventions.check_not_infinite(toe, name="toe_m")
    _, beyond = conventions.check_attempts(toe[:, 0], no_jump)
    return toe, beyond


def _spread_within(
    toe: FloatArray, group: IntArray, min_attempts: int
) -> tuple[FloatArray, FloatArray]:
    """Return SD and df of each column within groups; NaN and the df where too few.

    `toe` has shape (n, K), or (..., n, K) for many draws of the same groups.
    """
    seen = ~np.isnan(toe)
    n_groups = int(group.max(initial=-1)) + 1
    member = np.equal.outer(np.arange(n_groups), group).astype(np.float64)
    counts = member @ seen
    filled = np.where(seen, toe, 0.0)
    means = (member @ filled) / np.maximum(counts, 1)
    left = np.where(seen, filled - means[..., group, :], 0.0)
    # The second pass takes out what rounding left of the mean.
    over = ((member @ left) ** 2 / np.maximum(counts, 1)).sum(axis=-2)
    squares = (left * left).sum(axis=-2) - over
    present_groups = (counts > 0).sum(axis=-2)
    df = (seen.sum(axis=-2) - present_groups).astype(np.float64)
    enough = df >= min_attempts - 1
    sd = np.full(df.shape, np.nan)
    sd[enough] = np.sqrt(np.maximum(squares[enough], 0.0) / df[enough])
    return sd, df


def _censored_board_spread(
    board: FloatArray, unmeasured: BoolArray, group: IntArray
) -> tuple[float, float]:
    usable = (~np.isnan(board) | unmeasured) & np.isin(group, group[~np.isnan(board)])
    groups = conventions.group_by(group[usable], n=int(usable.sum()))
    toe, measured = board[usable], ~unmeasured[usable]
    if censored.leaves_no_spread(toe, measured, groups):
        return 0.0, float(measured.sum() - groups.n_groups)
    design = np.eye(groups.n_groups)[groups.index]
    fit = censored.fit_linear(toe[measured], design[measured], design[~measured])
    df = censored.equivalent_df(fit)
    return fit.sd * float(np.sqrt((df + groups.n_groups) / df)), df


def _largest(sd: FloatArray) -> IntArray:
    """Return the k of the largest SD of each row; equal ones, within rounding, go near the line."""
    top = np.nanmax(sd, axis=-1, keepdims=True)
    nearest: IntArray = np.argmax(sd >= top * (1 - 1e-12), axis=-1)
    return nearest


def _fall_p_value(toe: FloatArray, k: int, unmeasured: BoolArray, group: IntArray) -> float | None:
    paired = ~np.isnan(toe[:, k]) & (~np.isnan(toe[:, 0]) | unmeasured)
    paired &= np.isin(group, group[paired & ~unmeasured])
    hidden = unmeasured[paired]
    groups = conventions.group_by(group[paired], n=int(paired.sum()))
    if int(np.count_nonzero(~hidden)) - groups.n_groups < MIN_ATTEMPTS - 1:
        return None
    far, near = toe[paired, k], toe[paired, 0]
    if not hidden.any():
        return fall_of_spread(far, near, revision=groups.index)
    return _censored_fall_p_value(far, near, hidden, groups)


def _censored_fall_p_value(
    far: FloatArray, near: FloatArray, hidden: BoolArray, groups: conventions.Groups
) -> float | None:
    x = conventions.centred(far, groups)
    far_df = far.size - groups.n_groups
    far_variance = float(x @ x) / far_df
    design = np.column_stack([np.eye(groups.n_groups)[groups.index], x])
    if np.linalg.matrix_rank(design[~hidden]) < design.shape[1]:
        # Within each revision the far footfall stood still where the toe was measured.
        return None
    start, *_ = np.linalg.lstsq(design[~hidden], near[~hidden], rcond=None)
    left = np.abs(near[~hidden] - design[~hidden] @ start)
    if float(left.max()) < conventions.NO_SPREAD_M:
        # On an exact line the measured toes say nothing of the SD that the hidden ones need.
        return None
    fit = censored.fit_linear(near[~hidden], design[~hidden], design[hidden])
    df = censored.equivalent_df(fit)
    slope = float(fit.coefficients[-1])
    own = fit.sd**2 * (df + fit.coefficients.size) / df / far_variance
    ratio = slope**2 + own
    # log(var near / var far) = log(ratio), with its gradient in (slope, log sd, log var far).
    gradient = np.array([2 * slope, 2 * own]) / ratio
    covariance = fit.covariance[np.ix_([-2, -1], [-2, -1])]
    variance = float(gradient @ covariance @ gradient) + (own / ratio) ** 2 * 2 / far_df
    return float(stats.t.cdf(np.log(ratio) / np.sqrt(variance), df))


def _interval_factors(df: FloatArray, level: float) -> tuple[FloatArray, FloatArray]:
    low = np.full(df.size, np.nan)
    high = np.full(df.size, np.nan)
    # Most footfalls were measured as often as others.
    for value in np.unique(df[df >= 1]).tolist():
        same = df == value
        low[same], high[same] = conventions.chi_square_factors(df=value, level=level)
    return low, high


def _column_means(toe: FloatArray) -> FloatArray:
    counts = np.count_nonzero(~np.isnan(toe), axis=0)
    means = np.nansum(toe, axis=0) / np.maximum(counts, 1)
    return np.where(counts > 0, means, np.nan)


def _within_sessions(
    toe: FloatArray, session: npt.ArrayLike | None, revision: npt.ArrayLike | None
) -> FloatArray:
    if session is None:
        return np.full(toe.shape[1], np.nan)
    groups = conventions.group_by(revision, session, n=toe.shape[0])
    return _spread_within(toe, groups.index, MIN_ATTEMPTS)[0]


def _onset_frequencies(
    toe: FloatArray, group: IntArray, n_resamples: int, rng: np.random.Generator
) -> tuple[FloatArray, float]:
    if n_resamples < 0:
        raise ValueError(f"n_resamples must not be negative, got {n_resamples}")
    if n_resamples == 0:
        return np.full(toe.shape[1], np.nan), float("nan")
    order = np.argsort(group, kind="stable")
    ordered = toe[order]
    labels = group[order]
    counts = np.bincount(labels)
    first = (np.cumsum(counts) - counts)[labels]
    size = counts[labels]
    hits = np.zeros(toe.shape[1])
    at_once = max(1, _CELLS_AT_ONCE // toe.size)
    for start in range(0, n_resamples, at_once):
        chance = rng.random((min(at_once, n_resamples - start), labels.size))
        drawn = first + np.floor(chance * size).astype(np.int64)
        # What was enough for a figure is not judged again: a draw may miss a few.
        sd, _ = _spread_within(ordered[drawn], labels, 2)
        sd = sd[~np.all(np.isnan(sd), axis=1)]
        if sd.size:
            hits += np.bincount(_largest(sd), minlength=toe.shape[1])
    frequency = hits / n_resamples
    without = float(frequency[:2].sum())
    frequency[:2] = 0.0
    return frequency, without


def _describe_onset(
    k: int, sd: FloatArray, means: FloatArray, phase_starts: PhaseStarts | None
) -> Onset:
    percent = 100 * (sd[1 : k + 1] - sd[:k]) / (sd[k] - sd[0])
    return Onset(
        footfall=k,
        distance_m=float(means[k]),
        phase=None if phase_starts is None else phase_starts.phase_at(k),
        is_late=k <= LATE_FROM_FOOTFALL,
        adjustment_percent=percent[::-1].copy(),
    )
