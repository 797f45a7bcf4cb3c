"""A line through few attempts: what is usual of its slope, and what these attempts add."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from analytics.core import conventions
from analytics.core.baselines import PRIOR_BETWEEN_SHARE
from analytics.core.conventions import FloatArray, Interval

USUAL_DF = 4.0
"""Weight of the usual SD beside that of these attempts, as in `mark_advice`."""

_RATIOS = np.linspace(0, 3.5, 22)
_SD_NODES = 49
_SD_REACH = (-6.0, 9.0)
"""Over how many standard errors of log SD it is integrated; an SD has the longer tail above."""


@dataclass(frozen=True, slots=True)
class Belief:
    """What is usual, before any attempt of the athlete.

    Attributes
    ----------
    slope, slope_sd
        The slope is normal with this mean and SD.
    attempt_sd
        Usual SD of one attempt about the line, within a session.
    level_sd
        SD of the levels about 0; None where nothing is believed of them.
    """

    slope: float
    slope_sd: float
    attempt_sd: float
    level_sd: float | None = None


@dataclass(frozen=True, slots=True)
class BelievedLine:
    """The slope and the SD of one attempt, as a mixture over the spreads that are not known.

    Attributes
    ----------
    n
        Attempts.
    weight
        Shape (g,), sums to 1: how likely each pair of spreads is.
    slope_mean, slope_sd
        Shape (g,): the slope is normal given the spreads.
    attempt_sd
        Shape (g,): SD of one attempt within a session.
    log_evidence
        Logarithm of how likely these attempts are under the belief, but for a constant of `n`.
    """

    n: int
    weight: FloatArray
    slope_mean: FloatArray
    slope_sd: FloatArray
    attempt_sd: FloatArray
    log_evidence: float


def fit_line(
    values: npt.ArrayLike,
    cause: npt.ArrayLike,
    *,
    belief: Belief,
    levels: npt.ArrayLike | None = None,
    session: npt.ArrayLike | None = None,
) -> BelievedLine:
    """Return what is known of the line of the values on a cause.

    Parameters
    ----------
    values, cause
        Shape (n,), finite; n may be 0.
    belief
        What is usual.
    levels
        Shape (n,), labels: attempts with the same share a level, as those of one plan revision.
    session
        Shape (n,), labels of the session, each with an effect of its own; None for no effects.

    Raises
    ------
    ValueError
        Shapes that do not fit, values that are not finite, SDs that are not above 0.

    Notes
    -----
    ``value = level + slope cause + session effect + own error``, the effects normal with an SD of
    ratio times that of the own error. Given SD and ratio, slope and levels are normal (conjugate
    Bayesian regression). Both are integrated on a grid: SD^2 scaled inverse chi-square about the
    usual with `USUAL_DF` degrees of freedom, the ratio the half of a normal distribution with SD
    `baselines.PRIOR_BETWEEN_SHARE`, as elsewhere. With twice as many places on both no figure of
    the tests moves by more than 1e-5 of an SD.

    Edge cases: no attempts, or a cause that does not vary, leave the belief as it was. Levels of
    which nothing is believed are those of least squares.

    Source: Gelman et al., Bayesian Data Analysis, chapters 14 and 15 (from memory).

    Examples
    --------
    >>> usual = Belief(slope=-0.08, slope_sd=0.05, attempt_sd=0.15, level_sd=0.20)
    >>> nothing = fit_line([], [], belief=usual)
    >>> round(slope_mean(nothing), 3), round(slope_sd(nothing), 3)
    (-0.08, 0.05)
    """
    y = np.asarray(values, dtype=np.float64)
    x = np.asarray(cause, dtype=np.float64)
    if y.ndim != 1 or x.shape != y.shape:
        raise ValueError(f"each value needs one cause, got shapes {y.shape} and {x.shape}")
    if not (np.all(np.isfinite(y)) and np.all(np.isfinite(x))):
        raise ValueError("values and cause must be finite")
    level_sd = 1.0 if belief.level_sd is None else belief.level_sd
    if not all(0 < sd < float("inf") for sd in (belief.slope_sd, belief.attempt_sd, level_sd)):
        raise ValueError("the SDs of a belief must be finite and above 0")
    if not np.isfinite(belief.slope):
        raise ValueError(f"the slope of a belief must be finite, got {belief.slope}")
    conventions.check_not_infinite(y, name="values")
    conventions.check_not_infinite(x, name="cause")
    n = int(y.size)
    groups = conventions.group_by(levels, n=n)
    precision, centre = [belief.slope_sd**-2], [belief.slope]
    columns = [x[:, None]]
    if belief.level_sd is None and session is None:
        # Least squares takes the levels out; what is left has fewer degrees of freedom.
        y, columns = conventions.centred(y, groups), [conventions.centred(x, groups)[:, None]]
        lost = groups.n_groups
    else:
        columns.append(np.equal.outer(groups.index, np.arange(groups.n_groups)).astype(np.float64))
        tight = 0.0 if belief.level_sd is None else belief.level_sd**-2
        precision += [tight] * groups.n_groups
        centre += [0.0] * groups.n_groups
        lost = groups.n_groups if belief.level_sd is None else 0
    sessions = None if session is None else conventions.group_by(session, n=n)
    return _posterior(
        y, np.hstack(columns), np.diag(precision), np.array(centre), belief, sessions, lost=lost
    )


def slope_mean(line: BelievedLine) -> float:
    """Return the mean of the slope.

    Examples
    --------
    >>> usual = Belief(slope=0.8, slope_sd=0.3, attempt_sd=0.12)
    >>> round(slope_mean(fit_line([6.1, 6.3], [9.0, 9.2], belief=usual)), 3)
    0.825
    """
    return float(line.weight @ line.slope_mean)


def slope_sd(line: BelievedLine) -> float:
    """Return the SD of the slope.

    Examples
    --------
    >>> usual = Belief(slope=0.8, slope_sd=0.3, attempt_sd=0.12)
    >>> round(slope_sd(fit_line([6.1, 6.3], [9.0, 9.2], belief=usual)), 3)
    0.281
    """
    square = line.weight @ (line.slope_sd**2 + line.slope_mean**2)
    return float(np.sqrt(max(float(square) - slope_mean(line) ** 2, 0.0)))


def attempt_sd(line: BelievedLine) -> float:
    """Return the SD of one attempt about the line, within a session: its geometric mean.

    Examples
    --------
    >>> usual = Belief(slope=0.8, slope_sd=0.3, attempt_sd=0.12)
    >>> round(attempt_sd(fit_line([], [], belief=usual)), 2)
    0.14
    """
    return float(np.exp(line.weight @ np.log(line.attempt_sd)))


def slope_below(line: BelievedLine, limit: float) -> float:
    """Return the probability that the slope is below a limit.

    Examples
    --------
    >>> usual = Belief(slope=0.8, slope_sd=0.3, attempt_sd=0.12)
    >>> round(slope_below(fit_line([], [], belief=usual), 0.0), 4)
    0.0038
    """
    return float(line.weight @ special.ndtr((limit - line.slope_mean) / line.slope_sd))


def slope_interval(line: BelievedLine, *, level: float) -> Interval:
    """Return the range of the slope that has the probability `level`, with equal tails.

    Raises
    ------
    ValueError
        A level outside (0, 1).

    Examples
    --------
    >>> usual = Belief(slope=0.8, slope_sd=0.3, attempt_sd=0.12)
    >>> interval = slope_interval(fit_line([], [], belief=usual), level=0.95)
    >>> round(interval.low, 3), round(interval.high, 3)
    (0.212, 1.388)
    """
    conventions.check_level(level)
    tail = (1 - level) / 2
    return Interval(low=_slope_at(line, tail), high=_slope_at(line, 1 - tail), level=level)


def mix(lines: list[BelievedLine], log_weight: npt.ArrayLike) -> BelievedLine:
    """Return one line out of several that are not sure, each as likely as its weight says.

    Parameters
    ----------
    lines
        Of the same attempts, one or more.
    log_weight
        Shape (lines,), logarithms; what the attempts say of each is added here.

    Raises
    ------
    ValueError
        No line, or not one finite weight for each.

    Examples
    --------
    >>> usual = Belief(slope=0.8, slope_sd=0.3, attempt_sd=0.12)
    >>> one = fit_line([6.1, 6.3], [9.0, 9.2], belief=usual)
    >>> round(slope_mean(mix([one, one], [0.0, -1.0])), 3)
    0.825
    """
    given = np.asarray(log_weight, dtype=np.float64)
    if not lines or given.shape != (len(lines),) or not np.all(np.isfinite(given)):
        raise ValueError(f"{len(lines)} lines need a finite weight each, got shape {given.shape}")
    log = given + [line.log_evidence for line in lines]
    share = special.softmax(log)
    return BelievedLine(
        n=lines[0].n,
        weight=np.concatenate(
            [part * line.weight for part, line in zip(share, lines, strict=True)]
        ),
        slope_mean=np.concatenate([line.slope_mean for line in lines]),
        slope_sd=np.concatenate([line.slope_sd for line in lines]),
        attempt_sd=np.concatenate([line.attempt_sd for line in lines]),
        log_evidence=float(special.logsumexp(log)),
    )


def _slope_at(line: BelievedLine, share: float) -> float:
    middle, sd = slope_mean(line), slope_sd(line)
    # By Chebyshev's inequality no quantile lies farther out.
    reach = 1.01 * sd / float(np.sqrt(min(share, 1 - share)))
    return float(
        optimize.brentq(
            lambda slope: slope_below(line, slope) - share,
            middle - reach,
            middle + reach,
            xtol=1e-12,
        )
    )


def _posterior(
    y: FloatArray,
    design: FloatArray,
    precision: FloatArray,
    centre: FloatArray,
    belief: Belief,
    sessions: conventions.Groups | None,
    *,
    lost: int,
) -> BelievedLine:
    n = max(int(y.size) - lost, 0)
    ratios = np.zeros(1) if sessions is None else _RATIOS
    counts = np.zeros(0) if sessions is None else sessions.counts.astype(np.float64)
    sums = np.zeros((0, design.shape[1] + 1))
    both = np.column_stack([design, y])
    if sessions is not None:
        sums = np.zeros((sessions.n_groups, both.shape[1]))
        np.add.at(sums, sessions.index, both)
    # The inverse of 1 + ratio^2 within a session of m takes away ratio^2 / (1 + m ratio^2) of sums.
    drawn = ratios[:, None] ** 2 / (1 + counts * ratios[:, None] ** 2)
    moments = both.T @ both - np.einsum("rs,si,sj->rij", drawn, sums, sums)
    inner, cross, square = moments[:, :-1, :-1], moments[:, :-1, -1], moments[:, -1, -1]

    # Where the SD can be: about what a fit with the belief leaves, for each ratio.
    df = n + USUAL_DF
    rough = belief.attempt_sd**2
    guess = np.linalg.solve(
        inner + rough * precision, (cross + rough * (precision @ centre))[..., None]
    )[..., 0]
    left = (
        square - 2 * np.sum(guess * cross, axis=1) + np.einsum("ri,rij,rj->r", guess, inner, guess)
    )
    about = 0.5 * np.log((USUAL_DF * rough + np.maximum(left, 0.0)) / df)
    log_sd = about[:, None] + np.linspace(*_SD_REACH, _SD_NODES) / np.sqrt(2 * df)
    sd = np.exp(log_sd)

    exact = inner[:, None] / sd[..., None, None] ** 2 + precision
    pulled = cross[:, None] / sd[..., None] ** 2 + precision @ centre
    covariance = np.linalg.inv(exact)
    mean = np.einsum("rkij,rkj->rki", covariance, pulled)
    _, log_det = np.linalg.slogdet(exact)
    log_weight = (
        -(n + USUAL_DF) * log_sd
        - 0.5 * USUAL_DF * rough / sd**2
        - 0.5 * np.sum(np.log1p(counts * ratios[:, None] ** 2), axis=1)[:, None]
        - 0.5 * log_det
        - 0.5 * square[:, None] / sd**2
        + 0.5 * np.sum(mean * pulled, axis=2)
        - 0.5 * (ratios[:, None] / PRIOR_BETWEEN_SHARE) ** 2
    )
    ends = np.ones(ratios.size)
    if ratios.size > 1:
        ends[[0, -1]] = 0.5
    log_weight = log_weight + np.log(ends)[:, None]
    weight = special.softmax(log_weight).ravel()
    kept = weight > 1e-12
    step = (_SD_REACH[1] - _SD_REACH[0]) / (_SD_NODES - 1) / np.sqrt(2 * df)
    return BelievedLine(
        n=int(y.size),
        weight=weight[kept] / weight[kept].sum(),
        slope_mean=mean[..., 0].ravel()[kept],
        slope_sd=np.sqrt(covariance[..., 0, 0]).ravel()[kept],
        attempt_sd=sd.ravel()[kept],
        log_evidence=float(special.logsumexp(log_weight) + np.log(step)),
    )
