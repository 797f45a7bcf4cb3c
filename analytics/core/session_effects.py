"""How likely a spread within and between sessions is, and where the next attempts then stand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from analytics.core.conventions import BoolArray, FloatArray, IntArray
from analytics.core.quadrature import hermite

# How finely it is integrated. With three times as many places everywhere no probability of the
# tests moves by more than 1e-4 with sessions and hidden no jumps.
_MEAN_STEP = 0.9
_MEAN_REACH = 6.0
_MODE_STEPS = 8
_SESSION_NODES = 8


@dataclass(frozen=True, slots=True)
class RevisionSums:
    """Attempts of one plan revision, summed up by session. Arrays of shape (sessions,)."""

    n_measured: FloatArray
    mean_m: FloatArray
    n_hidden: FloatArray
    square_within: float


@dataclass(frozen=True, slots=True)
class Likelihood:
    """Shape (r, s): logarithm of the weight, mean and variance of what is shared."""

    log_weight: FloatArray
    mean_m: FloatArray
    variance: FloatArray


def sum_up(
    values: FloatArray, measured: BoolArray, chosen: BoolArray, sessions: IntArray
) -> tuple[RevisionSums, IntArray]:
    """Sum up the chosen attempts of one revision by session.

    Parameters
    ----------
    values, measured, chosen, sessions
        Shape (n,): metres, which of them are measured, which belong to the revision, and the
        number of the session of each.

    Returns
    -------
    tuple
        The sums, and the numbers of the sessions among the chosen in the same order.

    Examples
    --------
    >>> sums, numbers = sum_up(
    ...     np.array([0.1, 0.3, np.nan]),
    ...     np.array([True, True, False]),
    ...     np.array([True, True, True]),
    ...     np.array([4, 4, 5]),
    ... )
    >>> numbers.tolist(), sums.mean_m.round(3).tolist(), sums.n_hidden.tolist()
    ([4, 5], [0.2, 0.0], [0.0, 1.0])
    """
    numbers, index = np.unique(sessions[chosen], return_inverse=True)
    seen = measured[chosen]
    taken = values[chosen][seen]
    counts = np.bincount(index[seen], minlength=numbers.size).astype(np.float64)
    divisor = np.maximum(counts, 1)
    mean = np.bincount(index[seen], weights=taken, minlength=numbers.size) / divisor
    left = taken - mean[index[seen]]
    # A second pass, as in `conventions.group_means`.
    mean += np.bincount(index[seen], weights=left, minlength=numbers.size) / divisor
    left = taken - mean[index[seen]]
    return (
        RevisionSums(
            n_measured=counts,
            mean_m=mean,
            n_hidden=np.bincount(index[~seen], minlength=numbers.size).astype(np.float64),
            square_within=float(left @ left),
        ),
        numbers,
    )


def likelihood_of(
    revision: RevisionSums, ratio: FloatArray, log_sd: FloatArray, *, now: int | None
) -> Likelihood:
    """Return the likelihood of spreads, and what the next attempts share under each.

    Parameters
    ----------
    revision
        From `sum_up`; at least one session has a measured value.
    ratio
        Shape (r,): SD of the session effect over that of a single attempt.
    log_sd
        Shape (s,): logarithm of the SD of a single attempt, metres.
    now
        Place of the session that goes on among those of the revision; None for a new one.

    Notes
    -----
    Mean and session effects are integrated, the mean with a flat prior. In units of the SD: a
    session's mean of n measured values varies by ``1 / n + ratio^2`` about the mean of the
    revision, which is left with the variance `spread`, shape (r,).

    Examples
    --------
    >>> one = RevisionSums(np.array([4.0]), np.array([0.2]), np.array([0.0]), 0.03)
    >>> found = likelihood_of(one, np.zeros(1), np.log([0.1]), now=None)
    >>> found.mean_m.tolist(), found.variance.round(6).tolist()
    ([[0.2]], [[0.0025]])
    """
    between = ratio**2
    seen = revision.n_measured > 0
    n, means = revision.n_measured[seen], revision.mean_m[seen]
    precision = 1 / (1 / n + between[:, None])
    spread = 1 / precision.sum(axis=1)
    centre = spread * (precision @ means)
    square = revision.square_within + np.sum(precision * (means - centre[:, None]) ** 2, axis=1)
    sd = np.exp(log_sd)
    log_weight = (
        (0.5 * np.sum(np.log(precision), axis=1) + 0.5 * np.log(spread))[:, None]
        - (float(n.sum()) - 1) * log_sd
        - 0.5 * square[:, None] / sd**2
    )
    # The effect of a session with m measured toes, given the mean of the revision: it takes the
    # part `drawn` of the way to its own mean, and is left with the variance `effect_variance`.
    drawn = between[:, None] * revision.n_measured / (1 + between[:, None] * revision.n_measured)
    effect_variance = between[:, None] / (1 + between[:, None] * revision.n_measured)
    if not np.any(revision.n_hidden > 0):
        if now is None:
            shared = np.broadcast_to(centre[:, None], log_weight.shape)
            variance = (spread + between)[:, None] * sd**2
        else:
            kept = 1 - drawn[:, now]
            shared = (kept * centre + drawn[:, now] * revision.mean_m[now])[:, None]
            shared = np.broadcast_to(shared, log_weight.shape)
            variance = (kept**2 * spread + effect_variance[:, now])[:, None] * sd**2
        return Likelihood(log_weight, shared, variance)

    # All below in units of the SD, shape (r, s, places of the mean).
    place, log_place = _mean_places(
        revision, sd, centre[:, None] / sd, spread, drawn, effect_variance
    )
    effect_mean = np.zeros(place.shape)
    effect_square = np.broadcast_to(between[:, None, None], place.shape)
    z, z_weight = hermite(_SESSION_NODES if np.any(between > 0) else 1)
    for each in range(revision.n_hidden.size):
        if revision.n_hidden[each] == 0 and each != now:
            continue
        own_mean = revision.mean_m[each] / sd[:, None]
        effect = (drawn[:, each][:, None, None] * (own_mean - place))[..., None] + (
            np.sqrt(effect_variance[:, each])[:, None, None, None] * z
        )
        log_each = np.log(z_weight) + revision.n_hidden[each] * special.log_ndtr(
            -(place[..., None] + effect)
        )
        log_sum = special.logsumexp(log_each, axis=3)
        log_place = log_place + log_sum
        if each == now:
            share = np.exp(log_each - log_sum[..., None])
            effect_mean = np.sum(share * effect, axis=3)
            effect_square = np.sum(share * effect**2, axis=3)
    log_sum = special.logsumexp(log_place, axis=2)
    share = np.exp(log_place - log_sum[..., None])
    mean = np.sum(share * (place + effect_mean), axis=2)
    square_mean = np.sum(share * (place**2 + 2 * place * effect_mean + effect_square), axis=2)
    return Likelihood(log_weight + log_sum, mean * sd, (square_mean - mean**2) * sd**2)


def _mean_places(
    revision: RevisionSums,
    sd: FloatArray,
    centre: FloatArray,
    spread: FloatArray,
    drawn: FloatArray,
    effect_variance: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return places of the mean, in SDs, over all that weighs anything, and their log weight.

    The weight of the measured alone is normal about `centre`; hidden no jumps draw it down. Newton
    steps find about where to, from one side, since the slope is concave. Around there the weight
    falls at least as fast as a normal curve with the variance `spread`.
    """
    hidden = revision.n_hidden > 0
    # No jumps of one session are not independent: they count for fewer.
    alike = effect_variance[:, hidden] / (1 + effect_variance[:, hidden])
    count = revision.n_hidden[hidden] / (1 + (revision.n_hidden[hidden] - 1) * alike)
    scale = 1 / np.sqrt(1 + effect_variance[:, hidden])[:, None, :]
    kept = (1 - drawn[:, hidden])[:, None, :]
    toward = drawn[:, hidden][:, None, :] * revision.mean_m[hidden] / sd[:, None]
    reach = np.sqrt(spread)[:, None]
    pull = count[:, None, :] * kept * scale * reach[..., None]
    z = np.zeros(centre.shape)
    curvature = np.ones(centre.shape)
    for _ in range(_MODE_STEPS):
        u = scale * (kept * (centre + reach * z)[..., None] + toward)
        mills = np.exp(-0.5 * u**2 - 0.5 * np.log(2 * np.pi) - special.log_ndtr(-u))
        slope = -z - np.sum(pull * mills, axis=2)
        curvature = 1 + np.sum(pull * kept * scale * reach[..., None] * mills * (mills - u), axis=2)
        z = z + slope / curvature
    step = _MEAN_STEP / float(np.sqrt(curvature.max()))
    offsets = step * np.arange(-np.ceil(_MEAN_REACH / step), np.ceil(_MEAN_REACH / step) + 1)
    places = z[..., None] + offsets
    return centre[..., None] + reach[..., None] * places, -0.5 * places**2 + np.log(
        step / np.sqrt(2 * np.pi)
    )
