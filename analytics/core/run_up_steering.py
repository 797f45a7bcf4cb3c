"""How an athlete steers: what each step takes back of a deviation, and what it adds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.core import conventions
from analytics.core.conventions import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Habits:
    """What is usual in a run-up, before the athlete's own attempts say. Ours.

    SDs of gain and step are above 0; the others may be 0.

    Attributes
    ----------
    steered_steps
        Steps before take-off in which the board is steered to: five, the mean onset in elite
        jumpers (Hay 1988).
    gain, gain_sd
        Share of a deviation that each of these steps takes back, and its SD.
    early_gain_sd
        The same for the steps before, where the mean is 0.
    start_sd_m, step_sd_m
        SD of where an attempt starts against its mark, and of each step.
    session_sd_m
        SD, from session to session, of the run up to the board if nobody steered.
    reading_sd_m
        Reading error of each footfall.
    """

    steered_steps: int = 5
    gain: float = 0.35
    gain_sd: float = 0.25
    early_gain_sd: float = 0.10
    start_sd_m: float = 0.06
    step_sd_m: float = 0.05
    session_sd_m: float = 0.06
    reading_sd_m: float = 0.01


USUAL_HABITS = Habits()

USUAL_DF = 4.0
"""Weight of the usual step SD beside the athlete's own; ours."""

MOST_GAIN = 0.9
"""A step that took back all would hide what comes before it for good; ours."""


@dataclass(frozen=True, slots=True)
class Steering:
    """What the chain of steering does to an attempt.

    Attributes
    ----------
    gain
        Shape (n,): share of a deviation that each of the steps 1 to n takes back.
    gain_variance
        Shape (n,): how uncertain that is.
    passed
        Shape (n + 1,): share of a deviation of the mark that is left at each footfall.
    bent
        Shape (n + 1, n): by how much each position changes with each gain, for a mark 1 m too far
        back.
    stretched
        Shape (n + 1,): by how much a session with steps one usual SD longer moves each position.
    noise
        Shape (n + 1, n + 1): covariance of one attempt.
    """

    gain: FloatArray
    gain_variance: FloatArray
    passed: FloatArray
    bent: FloatArray
    stretched: FloatArray
    noise: FloatArray


def estimate_steering(
    toe_m: FloatArray, session: IntArray, *, natural_m: FloatArray, habits: Habits = USUAL_HABITS
) -> Steering:
    """Return how the deviations of attempts are passed on from footfall to footfall.

    Parameters
    ----------
    toe_m
        Shape (a, n + 1): measured footfalls, k = 0 the take-off foot; NaN where not measured.
    session
        Shape (a,): numbers of the sessions.
    natural_m
        Shape (n + 1,): footfalls of a run-up in which nothing has to be corrected, roughly.
    habits
        What is usual.

    Raises
    ------
    ValueError
        Habits that are not finite, SDs of gain or step that are not above 0, a negative SD.

    Notes
    -----
    The gain of step k is the slope of its length on footfall k, centred within sessions. A reading
    error of SD r in footfall k stands in both: it adds r^2 for each degree of freedom to the sum of
    squares and to the sum of products, and is taken off both. The slope is drawn to the usual gain,
    weighed by the variances, and kept within 0 and `MOST_GAIN`. What the steps add besides has one
    variance for all, drawn to the usual one.

    Where footfall k spreads no more than readings do, the usual gain stands.

    Examples
    --------
    >>> toe = np.array([[0.06, 2.06, 4.06], [0.16, 2.26, 4.26], [-0.04, 1.86, 3.86]] * 4)
    >>> found = estimate_steering(toe, np.zeros(12, dtype=np.int64), natural_m=toe[0])
    >>> found.gain.round(2).tolist()
    [0.48, 0.04]
    """
    _check_habits(habits)
    gain, gain_variance, step_variance = _gains(toe_m, session, habits)
    chain = _chain(gain)
    return Steering(
        gain=gain,
        gain_variance=gain_variance,
        passed=chain[:, -1],
        bent=-chain[:, :-1] * chain[1:, -1],
        stretched=_stretch(chain, natural_m, habits),
        noise=_noise(chain, step_variance, habits),
    )


def _check_habits(habits: Habits) -> None:
    above = np.array([habits.gain_sd, habits.early_gain_sd, habits.step_sd_m])
    others = np.array([habits.start_sd_m, habits.session_sd_m, habits.reading_sd_m])
    if not (np.all((above > 0) & np.isfinite(above)) and np.isfinite(habits.gain)):
        raise ValueError("the SDs of gain and step must be finite and above 0, and the gain finite")
    if not np.all((others >= 0) & np.isfinite(others)):
        raise ValueError("SDs of start, session and reading must be finite and 0 or more")


def _gains(
    toe: FloatArray, session: IntArray, habits: Habits
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return for each of the steps 1 to n the gain, its variance and that of what is added."""
    n_steps = toe.shape[1] - 1
    gain, gain_variance = np.zeros(n_steps), np.zeros(n_steps)
    squares, freedom = 0.0, 0.0
    usual = habits.step_sd_m**2
    reading = habits.reading_sd_m**2
    for k in range(1, n_steps + 1):
        steered = k <= habits.steered_steps
        prior, prior_sd = (habits.gain, habits.gain_sd) if steered else (0.0, habits.early_gain_sd)
        both = ~np.isnan(toe[:, k]) & ~np.isnan(toe[:, k - 1])
        groups = conventions.group_by(session[both], n=int(both.sum()))
        gain[k - 1], gain_variance[k - 1] = prior, prior_sd**2
        df = groups.index.size - groups.n_groups - 1
        if df < 1:
            continue
        needed = conventions.centred(toe[both, k], groups)
        made = conventions.centred(toe[both, k] - toe[both, k - 1], groups)
        # The reading error of footfall k stands in both.
        lent = (df + 1) * reading
        spread = float(needed @ needed) - lent
        if spread > 0:
            own = (float(needed @ made) - lent) / usual
            weight, prior_weight = spread / usual, prior_sd**-2
            drawn = (own + prior_weight * prior) / (weight + prior_weight)
            gain[k - 1] = np.clip(drawn, 0, MOST_GAIN)
            gain_variance[k - 1] = 1 / (weight + prior_weight)
        left = made - gain[k - 1] * needed
        squares += float(left @ left) - (df + 1) * reading * (1 + (1 - gain[k - 1]) ** 2)
        freedom += df
    variance = (max(squares, 0.0) + USUAL_DF * usual) / (freedom + USUAL_DF)
    return gain, gain_variance, np.full(n_steps, variance)


def _chain(gain: FloatArray) -> FloatArray:
    """Return which share of a deviation at footfall i is left at footfall m, for m up to i."""
    n_places = gain.size + 1
    chain = np.eye(n_places)
    for i in range(n_places):
        for m in range(i, 0, -1):
            chain[m - 1, i] = chain[m, i] * (1 - gain[m - 1])
    return chain


def _stretch(chain: FloatArray, natural_m: FloatArray, habits: Habits) -> FloatArray:
    """Return where the feet land in a session whose steps are longer by one usual SD."""
    entered = np.zeros(chain.shape[0])
    entered[:-1] = -np.diff(natural_m)
    return np.asarray(chain @ entered * habits.session_sd_m / (natural_m[-1] - natural_m[0]))


def _noise(chain: FloatArray, step_variance: FloatArray, habits: Habits) -> FloatArray:
    """Return the covariance of one attempt's footfalls about what is expected of it."""
    entered = np.concatenate([step_variance, [habits.start_sd_m**2]])
    return np.asarray((chain * entered) @ chain.T + habits.reading_sd_m**2 * np.eye(entered.size))
