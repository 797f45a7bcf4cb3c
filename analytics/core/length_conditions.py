"""What must hold before a run-up is lengthened, one condition at a time, each with its number."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy import optimize, stats

from analytics.core import board_spread, components, needed_made, outlook
from analytics.core.components import SpreadComponents
from analytics.core.conventions import NO_SPREAD_M, FloatArray, IntArray
from analytics.core.length_settings import DEFAULT_SETTINGS, LengthSettings
from analytics.core.next_attempts import NextAttempts

MIN_MEASURED = 5
"""Measured attempts below which nothing is said of speed and of the last three steps."""

_FARTHEST_AIM_M = 100.0


class Condition(StrEnum):
    """What must hold."""

    SESSIONS = "sessions"
    SPREAD = "spread"
    NO_JUMPS = "no_jumps"
    SPEED_KEPT = "speed_kept"
    LAST_STEPS = "last_steps"
    GROWTH = "growth"
    LOAD = "load"


class State(StrEnum):
    """Whether it holds: shown to, shown not to, shown neither way, or not measured."""

    MET = "met"
    UNMET = "unmet"
    OPEN = "open"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Finding:
    """One condition.

    Attributes
    ----------
    condition, state
        Which, and whether it holds.
    n
        Attempts behind it; 0 for the cautions.
    value, limit
        The number and what it is held against, in the unit of the condition: sessions, metres,
        share, metres per second, share. None where there is no number.
    probability
        How sure it is that the condition holds; None where it is plainly so or not.
    """

    condition: Condition
    state: State
    n: int
    value: float | None = None
    limit: float | None = None
    probability: float | None = None


def medium_long_short(toe_m: npt.ArrayLike) -> FloatArray:
    """Return where the last three steps were medium, long, short.

    Parameters
    ----------
    toe_m
        Shape (n, K), K >= 4, metres behind the take-off line; NaN where missing.

    Returns
    -------
    ndarray
        Shape (n,): 1 where the penultimate step was the longest and the last the shortest, else 0;
        NaN where one of the three lengths is not known.

    Raises
    ------
    ValueError
        Another shape, infinite values.

    Examples
    --------
    >>> medium_long_short([[0.06, 2.06, 4.31, 6.46], [0.06, 2.30, 4.40, 6.40]]).tolist()
    [1.0, 0.0]
    """
    toe = needed_made.check_footfalls(toe_m)
    if toe.shape[1] < 4:
        raise ValueError(f"the last three steps need four footfalls, got {toe.shape[1]}")
    last, penultimate, third = np.diff(toe[:, :4], axis=1).T
    held = (penultimate - third > NO_SPREAD_M) & (third - last > NO_SPREAD_M)
    return np.where(np.isnan(last + penultimate + third), np.nan, held)


def find_sessions(n_sessions: int, settings: LengthSettings = DEFAULT_SETTINGS) -> Finding:
    """Say whether there are enough sessions.

    Examples
    --------
    >>> find_sessions(2).state.value
    'unmet'
    """
    state = State.MET if n_sessions >= settings.sessions else State.UNMET
    return Finding(
        Condition.SESSIONS, state, n=0, value=float(n_sessions), limit=float(settings.sessions)
    )


def find_spread(
    toe: NextAttempts, ready_sd_m: float, settings: LengthSettings = DEFAULT_SETTINGS
) -> Finding:
    """Say whether the spread at the board is small enough.

    Examples
    --------
    >>> from analytics.core import next_attempts
    >>> found = find_spread(next_attempts.known(0.06, 0.08), 0.10)
    >>> found.state.value, found.value, found.limit, found.probability
    ('met', 0.08, 0.1, 1.0)
    """
    probability = board_spread.probability_below(toe, ready_sd_m)
    return Finding(
        Condition.SPREAD,
        _shown(probability, settings),
        n=toe.n,
        value=board_spread.typical_sd(toe),
        limit=ready_sd_m,
        probability=probability,
    )


def shown_far_too_wide(
    toe: NextAttempts, ready_sd_m: float, settings: LengthSettings = DEFAULT_SETTINGS
) -> bool:
    """Say whether the spread is shown to be so large that fewer steps are better.

    Examples
    --------
    >>> from analytics.core import next_attempts
    >>> [shown_far_too_wide(next_attempts.known(0.06, sd), 0.10) for sd in (0.14, 0.16)]
    [False, True]
    """
    within = board_spread.probability_below(toe, settings.far_too_wide * ready_sd_m)
    return within <= 1 - settings.sure


def find_no_jumps(toe: NextAttempts, settings: LengthSettings = DEFAULT_SETTINGS) -> Finding:
    """Say whether the next attempt of a new session is seldom enough a no jump.

    Notes
    -----
    The share is that of the predictive distribution: what is not known of mean and spread is in it
    already, so it is held against the limit as it stands.

    Examples
    --------
    >>> from analytics.core import next_attempts
    >>> found = find_no_jumps(next_attempts.known(0.06, 0.08))
    >>> found.state.value, round(found.value, 3)
    ('met', 0.227)
    """
    risk = outlook.probability_below(toe, 0.0)
    state = State.MET if risk <= settings.most_no_jumps else State.UNMET
    return Finding(Condition.NO_JUMPS, state, n=toe.n, value=risk, limit=settings.most_no_jumps)


def aim_needed(toe: NextAttempts, settings: LengthSettings = DEFAULT_SETTINGS) -> float:
    """Return the nearest aim with few enough no jumps, were the mark right; centimetres in full.

    Raises
    ------
    ValueError
        Toes that spread so much that they cannot be metres.

    Examples
    --------
    >>> from analytics.core import next_attempts
    >>> aim_needed(next_attempts.known(0.0, 0.14))
    0.08
    """

    def excess(aim_m: float) -> float:
        return outlook.probability_below(toe, toe.mean_m - aim_m) - settings.most_no_jumps

    if excess(0.0) <= 0:
        return 0.0
    if excess(_FARTHEST_AIM_M) > 0:
        raise ValueError(f"no aim within {_FARTHEST_AIM_M:g} m would do: are these metres?")
    exact = optimize.brentq(excess, 0.0, _FARTHEST_AIM_M, xtol=1e-6)
    return float(np.ceil(100 * exact - 1e-3) / 100)


def find_speed(
    gain_mps: FloatArray, session: IntArray, settings: LengthSettings = DEFAULT_SETTINGS
) -> Finding:
    """Say whether the speed into the board is kept, sessions taken into account.

    Parameters
    ----------
    gain_mps
        Shape (n,): speed from 6 to 1 m less that from 11 to 6 m; NaN where not measured.
    session
        Shape (n,), numbers.
    settings
        Limits.

    Notes
    -----
    Of the mean gain: Student's t with the standard error and degrees of freedom that hold when
    sessions differ (`components.spread_components`). The error of the gates is in the spread.

    Examples
    --------
    >>> gain = np.array([-0.1, 0.0, -0.2, 0.1, -0.1, 0.0])
    >>> found = find_speed(gain, np.array([0, 0, 1, 1, 2, 2]))
    >>> found.state.value, round(found.value, 3), found.limit
    ('met', -0.05, -0.3)
    """
    measured = ~np.isnan(gain_mps)
    n = int(measured.sum())
    limit = -settings.lost_mps
    parts = components.spread_components(gain_mps, session)
    if n < MIN_MEASURED or not isinstance(parts, SpreadComponents):
        return Finding(Condition.SPEED_KEPT, State.UNKNOWN, n=n, limit=limit)
    mean = float(gain_mps[measured].mean())
    if parts.mean_standard_error_m == 0:
        probability = float(mean >= limit)
    else:
        probability = float(
            stats.t.cdf((mean - limit) / parts.mean_standard_error_m, parts.mean_df)
        )
    return Finding(
        Condition.SPEED_KEPT,
        _shown(probability, settings),
        n=n,
        value=mean,
        limit=limit,
        probability=probability,
    )


def find_pattern(held: FloatArray, settings: LengthSettings = DEFAULT_SETTINGS) -> Finding:
    """Say whether the pattern of the last three steps is held often enough.

    Parameters
    ----------
    held
        Shape (n,): 1 held, 0 not, NaN not measured.
    settings
        Limits.

    Notes
    -----
    With k of n the share is believed to follow Beta(k + 1/2, n - k + 1/2): Jeffreys' prior
    (from memory).

    Examples
    --------
    >>> found = find_pattern(np.array([1.0] * 14 + [0.0, np.nan]))
    >>> found.state.value, found.n, round(found.value, 2), round(found.probability, 2)
    ('met', 15, 0.93, 0.99)
    """
    known = held[~np.isnan(held)]
    n = int(known.size)
    limit = settings.least_pattern_share
    if n < MIN_MEASURED:
        return Finding(Condition.LAST_STEPS, State.UNKNOWN, n=n, limit=limit)
    k = float(known.sum())
    probability = float(stats.beta.sf(limit, k + 0.5, n - k + 0.5))
    return Finding(
        Condition.LAST_STEPS,
        _shown(probability, settings),
        n=n,
        value=k / n,
        limit=limit,
        probability=probability,
    )


def find_caution(condition: Condition, is_open: bool | None) -> Finding:
    """Say whether a caution of growth or load is open.

    Examples
    --------
    >>> [find_caution(Condition.LOAD, is_open).state.value for is_open in (None, True, False)]
    ['unknown', 'unmet', 'met']
    """
    if is_open is None:
        return Finding(condition, State.UNKNOWN, n=0)
    return Finding(condition, State.UNMET if is_open else State.MET, n=0)


def _shown(probability: float, settings: LengthSettings) -> State:
    if probability >= settings.sure:
        return State.MET
    return State.UNMET if probability <= 1 - settings.sure else State.OPEN
