"""What the attempts so far let one expect of the next ones: where they land, how much they spread.

Mean, spread and the change from session to session are all unknown, and all attempts to come share
them. So the expectation is not one distribution but many, each with its weight.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core import conventions, session_effects
from analytics.core.baselines import PRIOR_BETWEEN_SHARE, SMALLEST_SD_M
from analytics.core.conventions import BoolArray, FloatArray, NotEnoughAttempts
from analytics.core.quadrature import gauss_rule, hermite
from analytics.core.session_effects import Likelihood, RevisionSums

MIN_MEASURED = 5
"""Measured values below which nothing is expected; one more for each further plan revision."""

# How finely it is integrated. With three times as many places everywhere no probability of the
# tests moves by more than 1e-4 with sessions and hidden no jumps, 1e-7 without both.
_RATIO_NODES = 4
_LARGEST_RATIO = 3.5
_COARSE_RATIOS = 11
_COARSE_STEP = 0.3
_FINE_SDS = 40
_REFINEMENTS = 2
_NEGLIGIBLE = 26.0  # e^-26 is 5e-12
_NEGLIGIBLE_RATIO = 14.0
_TAIL_SDS = 2.0
_FEW_SDS = 5
_FEW_MEANS = 10


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """Possible truths about the attempts to come, each with its weight. Arrays of shape (t,).

    Attributes
    ----------
    mean_m, sd_m
        Of a single attempt, were this the truth.
    weight
        Sums to 1.
    """

    mean_m: FloatArray
    sd_m: FloatArray
    weight: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class NextAttempts:
    """What is expected of attempts to come. Arrays of shape (r, s).

    Attributes
    ----------
    n, n_measured, n_unmeasured_no_jumps
        Attempts used, and of which kind.
    n_sessions, n_revisions
        Among them; 0 sessions without labels.
    mean_m
        Where the attempts to come are expected, the mean over all that is possible.
    own_sd_m
        Possible SDs of a single attempt within its session.
    session_ratio
        Shape (r,): possible SDs of the session effect, as a share of that of a single attempt.
    shared_mean_m, shared_sd_m
        Given that SD: mean and SD of what the attempts to come share, the athlete's mean and the
        effect of their session.
    weight
        Sums to 1.
    """

    n: int
    n_measured: int
    n_unmeasured_no_jumps: int
    n_sessions: int
    n_revisions: int
    mean_m: float
    own_sd_m: FloatArray
    session_ratio: FloatArray
    shared_mean_m: FloatArray
    shared_sd_m: FloatArray
    weight: FloatArray


def expect_toe(
    board_toe_m: npt.ArrayLike,
    no_jump: npt.ArrayLike,
    *,
    session: npt.ArrayLike | None = None,
    session_now: object = None,
    revision: npt.ArrayLike | None = None,
) -> NextAttempts | NotEnoughAttempts:
    """Return what earlier attempts let one expect of the toe-to-board distance of the next.

    Parameters
    ----------
    board_toe_m
        Shape (n,), metres behind the take-off line, negative beyond; NaN where not measured. In
        order: the last revision is the one that counts.
    no_jump
        Shape (n,), booleans. A no jump without a measured toe counts as "toe < 0"; any other
        attempt without one is left out.
    session, revision
        Shape (n,), labels of the session and the plan revision.
    session_now
        Label of the session that the next attempts belong to; None, or one that has no attempts
        yet, for a new session.

    Returns
    -------
    NextAttempts or NotEnoughAttempts
        `MIN_MEASURED` measured toes are needed, one more for each further revision, and one in
        the latest.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite distances, a `session_now` without sessions.

    Notes
    -----
    An attempt is ``mean of its revision + effect of its session + own error``, both normal, the
    SD of the session effect ``ratio`` times that of the own error. Prior: flat in the means, flat
    in the logarithm of the SD above `baselines.SMALLEST_SD_M`, and for the ratio the half of a
    normal distribution about 0 with SD `baselines.PRIOR_BETWEEN_SHARE`. It allows for sessions
    that do not differ; few sessions say little of it, and one session nothing, so that a new one
    then adds what is usual. Without labels the ratio is 0, and the next attempt follows exactly
    Student's t: ``(x - mean) / (s sqrt(1 + 1/n))`` with n - 1 degrees of freedom.

    The means and session effects of measured attempts are integrated in closed form; an
    unmeasured no jump multiplies the likelihood by P(toe < 0), integrated over its session's
    effect by Gauss-Hermite and over the mean by the trapezoidal rule, which for such curves errs
    less than 1e-8. Given SD and ratio, what the next attempts share is then taken as normal with
    its exact mean and variance: exact without unmeasured no jumps, close with them.

    Why integrate, and not take the censored fit with its equivalent degrees of freedom? That rule
    was made for intervals of mean and SD. The risk of the next attempts lives in the tail, where
    mean and SD err together once toes are hidden: a low mean goes with a large SD.

    Source: Gelman et al., Bayesian Data Analysis, on the normal model with the prior 1 / SD, and
    Gelman 2006, Bayesian Analysis 1:515-533, on priors of the SD of groups that allow for 0 (both
    from memory).

    Examples
    --------
    >>> toe = np.array([0.16, 0.02, 0.10, -0.04, 0.06, 0.18])
    >>> expected = expect_toe(toe, toe < 0)
    >>> round(expected.mean_m, 3), expected.n
    (0.08, 6)
    """
    toe, beyond = conventions.check_attempts(board_toe_m, no_jump)
    return _expect(toe, beyond, session=session, session_now=session_now, revision=revision)


def expect_distance(
    effective_m: npt.ArrayLike,
    *,
    session: npt.ArrayLike | None = None,
    session_now: object = None,
) -> NextAttempts | NotEnoughAttempts:
    """Return what earlier attempts let one expect of the effective distance of the next.

    Parameters
    ----------
    effective_m
        Shape (n,), official distance plus toe-to-board distance, metres; NaN where not known.
    session, session_now
        As for `expect_toe`.

    Returns
    -------
    NextAttempts or NotEnoughAttempts
        `MIN_MEASURED` known distances are needed.

    Raises
    ------
    ValueError
        Shapes that do not fit, distances that are infinite or not positive.

    Notes
    -----
    As `expect_toe`, with nothing censored: a no jump has no distance and says nothing here.

    Examples
    --------
    >>> expected = expect_distance([6.31, 6.52, 6.44, 6.60, 6.38])
    >>> round(expected.mean_m, 3)
    6.45
    """
    effective = np.asarray(effective_m, dtype=np.float64)
    if effective.ndim != 1:
        raise ValueError(f"effective_m must have one dimension, got shape {effective.shape}")
    conventions.check_not_infinite(effective, name="effective_m")
    if np.any(effective <= 0):
        raise ValueError("effective_m must be positive")
    none = np.zeros(effective.size, dtype=np.bool_)
    return _expect(effective, none, session=session, session_now=session_now, revision=None)


def known(mean_m: float, sd_m: float) -> NextAttempts:
    """Return the expectation of someone whose mean and SD are known: for plans and comparisons.

    Parameters
    ----------
    mean_m, sd_m
        Of a single attempt.

    Raises
    ------
    ValueError
        Not finite, or an SD below `baselines.SMALLEST_SD_M`.

    Examples
    --------
    >>> known(0.06, 0.08).own_sd_m.tolist()
    [[0.08]]
    """
    if not (np.isfinite(mean_m) and SMALLEST_SD_M <= sd_m < np.inf):
        raise ValueError(
            f"mean_m must be finite and sd_m at least {SMALLEST_SD_M}, got {mean_m} and {sd_m}"
        )
    return NextAttempts(
        n=0,
        n_measured=0,
        n_unmeasured_no_jumps=0,
        n_sessions=0,
        n_revisions=0,
        mean_m=mean_m,
        own_sd_m=np.array([[sd_m]]),
        session_ratio=np.zeros(1),
        shared_mean_m=np.array([[mean_m]]),
        shared_sd_m=np.zeros((1, 1)),
        weight=np.ones((1, 1)),
    )


def nodes(expected: NextAttempts, *, n_sds: int = _FEW_SDS, n_means: int = _FEW_MEANS) -> Nodes:
    """Return few possible truths that stand for all of them.

    Parameters
    ----------
    expected
        From `expect_toe`, `expect_distance` or `known`.
    n_sds, n_means
        SDs, and means for each of them; fewer where there are not so many.

    Raises
    ------
    ValueError
        Fewer than one node.

    Notes
    -----
    Gauss quadrature of the weights themselves, over the logarithm of the SD, and for each of its
    nodes over the shared mean: with k nodes the expectation of a polynomial of degree 2 k - 1 is
    kept. The mean enters by the inverse hyperbolic sine of its distance in SDs, which draws the
    long tails in that sessions make: what a far mean does to a chance is soon all that it can do.

    Examples
    --------
    >>> few = nodes(known(0.06, 0.08))
    >>> few.mean_m.tolist(), few.sd_m.round(4).tolist(), few.weight.round(4).tolist()
    ([0.06], [0.08], [1.0])
    """
    if n_sds < 1 or n_means < 1:
        raise ValueError(f"n_sds and n_means must be at least 1, got {n_sds} and {n_means}")
    log_sd = np.log(expected.own_sd_m[0])
    z, z_weight = hermite(2 * n_means if np.any(expected.shared_sd_m > 0) else 1)
    share = expected.shared_sd_m / expected.own_sd_m
    of_ratio = expected.weight / np.maximum(expected.weight.sum(axis=0), np.finfo(float).tiny)
    means, sds, weights = [], [], []
    for place, weight in zip(*gauss_rule(log_sd, expected.weight.sum(axis=0), n_sds), strict=True):
        sd = float(np.exp(place))
        # What is shared is normal for each ratio: their mixture at this SD.
        mean, spread, ratio_weight = (
            np.array([np.interp(place, log_sd, row) for row in rows])
            for rows in (expected.shared_mean_m, share, of_ratio)
        )
        places = mean[:, None] + sd * spread[:, None] * z
        from_mean = np.arcsinh((places - expected.mean_m).ravel() / (_TAIL_SDS * sd))
        node, node_weight = gauss_rule(from_mean, np.outer(ratio_weight, z_weight).ravel(), n_means)
        means.append(expected.mean_m + _TAIL_SDS * sd * np.sinh(node))
        sds.append(np.full(node.size, sd))
        weights.append(weight * node_weight)
    return Nodes(np.concatenate(means), np.concatenate(sds), np.concatenate(weights))


def _expect(
    values: FloatArray,
    beyond: BoolArray,
    *,
    session: npt.ArrayLike | None,
    session_now: object,
    revision: npt.ArrayLike | None,
) -> NextAttempts | NotEnoughAttempts:
    if session is None and session_now is not None:
        raise ValueError("session_now needs the sessions of the attempts")
    measured = ~np.isnan(values)
    known_one = measured | beyond
    revisions = conventions.group_by(revision, n=values.size).index
    usable = known_one & np.isin(revisions, revisions[measured])
    n_measured = int(measured.sum())
    n_revisions = int(np.unique(revisions[usable]).size)
    needed = MIN_MEASURED + max(n_revisions - 1, 0)
    if n_measured < needed:
        return NotEnoughAttempts(n=n_measured, needed=needed)
    latest = int(revisions[known_one][-1])
    if not np.any(measured & (revisions == latest)):
        return NotEnoughAttempts(n=0, needed=1)
    labels = np.zeros(values.size, dtype=np.int64) if session is None else np.asarray(session)
    sessions = conventions.group_by(labels, n=values.size).index
    now = -1
    if session_now is not None:
        same = np.array([label == session_now for label in labels.tolist()])
        here = np.flatnonzero(same & usable & (revisions == latest))
        now = int(sessions[here[0]]) if here.size else -1
    earlier = [
        session_effects.sum_up(values, measured, usable & (revisions == each), sessions)[0]
        for each in np.unique(revisions[usable])
        if each != latest
    ]
    last, last_sessions = session_effects.sum_up(
        values, measured, usable & (revisions == latest), sessions
    )
    place_now = int(np.flatnonzero(last_sessions == now)[0]) if now >= 0 else None

    def posterior(ratio: FloatArray, log_sd: FloatArray) -> Likelihood:
        found = session_effects.likelihood_of(last, ratio, log_sd, now=place_now)
        log_weight = found.log_weight
        for each in earlier:
            log_weight = (
                log_weight + session_effects.likelihood_of(each, ratio, log_sd, now=None).log_weight
            )
        return Likelihood(
            log_weight - 0.5 * (ratio[:, None] / PRIOR_BETWEEN_SHARE) ** 2,
            found.mean_m,
            found.variance,
        )

    log_sd = _log_sds([last, *earlier])
    ratio = np.zeros(1) if session is None else np.linspace(0, _LARGEST_RATIO, _COARSE_RATIOS)
    for _ in range(_REFINEMENTS):
        log_weight = posterior(ratio, log_sd).log_weight
        log_sd = _narrowed(log_sd, log_weight.max(axis=0), _NEGLIGIBLE, count=_FINE_SDS)
        ratio = _narrowed(ratio, log_weight.max(axis=1), _NEGLIGIBLE_RATIO, count=ratio.size)
    if ratio.size > 1:
        weight = _weights(posterior(ratio, log_sd).log_weight)
        # The first and the last place stand for half a step.
        ends = np.ones(ratio.size)
        ends[[0, -1]] = 0.5
        ratio, ratio_weight = gauss_rule(ratio, weight.sum(axis=1) * ends, _RATIO_NODES)
    else:
        ratio_weight = np.ones(1)
    found = posterior(ratio, log_sd)
    weight = np.exp(found.log_weight - found.log_weight.max(axis=1, keepdims=True))
    weight[:, [0, -1]] *= 0.5
    weight *= (ratio_weight / weight.sum(axis=1))[:, None]
    return NextAttempts(
        n=int(usable.sum()),
        n_measured=n_measured,
        n_unmeasured_no_jumps=int(np.count_nonzero(usable & ~measured)),
        n_sessions=0 if session is None else int(np.unique(sessions[usable]).size),
        n_revisions=n_revisions,
        mean_m=float(np.sum(weight * found.mean_m)),
        own_sd_m=np.broadcast_to(np.exp(log_sd), weight.shape),
        session_ratio=ratio,
        shared_mean_m=found.mean_m,
        shared_sd_m=np.sqrt(found.variance),
        weight=weight,
    )


def _narrowed(
    places: FloatArray, log_weight: FloatArray, negligible: float, *, count: int
) -> FloatArray:
    """Return `count` places over the part of the range that weighs anything."""
    if places.size == 1:
        return places
    kept = np.flatnonzero(log_weight > log_weight.max() - negligible)
    low = places[max(int(kept[0]) - 1, 0)]
    high = places[min(int(kept[-1]) + 1, places.size - 1)]
    return np.linspace(low, high, count)


def _weights(log_weight: FloatArray) -> FloatArray:
    return np.asarray(np.exp(log_weight - log_weight.max()), dtype=np.float64)


def _log_sds(revisions: list[RevisionSums]) -> FloatArray:
    """Return a first, wide range of the logarithm of the SD within sessions."""
    within = sum(each.square_within for each in revisions)
    total, df_within, df = within, 0.0, 0.0
    for each in revisions:
        mean = float(each.n_measured @ each.mean_m) / float(each.n_measured.sum())
        total += float(each.n_measured @ (each.mean_m - mean) ** 2)
        df += float(each.n_measured.sum()) - 1
        df_within += float(each.n_measured.sum()) - np.count_nonzero(each.n_measured)
        # Equal toes that no jumps contradict: the SD is of the size of the toes.
        total += float(each.n_hidden.sum() > 0) * float(np.max(np.abs(each.mean_m))) ** 2
    sds = [np.sqrt(total / df), np.sqrt(within / max(df_within, 1.0))]
    low = max(np.log(SMALLEST_SD_M), float(np.log(max(min(sds), SMALLEST_SD_M))) - 2.0)
    # Where the likelihood has come down to e^-26, for few attempts (its tail) and for many.
    beyond = _NEGLIGIBLE / df + np.sqrt(_NEGLIGIBLE / df)
    high = float(np.log(max(*sds, SMALLEST_SD_M)) + beyond)
    return np.linspace(low, high, int(np.ceil((high - low) / _COARSE_STEP)) + 2)
