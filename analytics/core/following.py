"""Level and spread charts: has the athlete changed, or is it the usual up and down?

The charts judge finished sessions of one plan revision. The first attempts of the revision make a
baseline of the athlete's own spread; the target is the aim of the plan, not what the baseline
happened to hit. Each step takes the state after one session and gives the state after the next,
so that a long series costs no more to follow than a short one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core import baselines, censored, conventions, smoothing
from analytics.core.baselines import Baseline
from analytics.core.conventions import NotEnoughAttempts

SPREAD_WEIGHT = 0.10
"""Weight of one degree of freedom in the spread chart."""

LEVEL_FALSE_ALARMS_PER_SESSION = 1 / 200
"""At most this many for nine athletes in ten, as long as their session means differ by an SD of
no more than 0.7 of that within sessions (simulated)."""

SPREAD_FALSE_ALARMS_PER_SESSION = 1 / 75
"""At most this many for nine athletes in ten, with 3 to 10 attempts a session (computed)."""


@dataclass(frozen=True, slots=True)
class SessionPoint:
    """One finished session as the charts see it.

    Attributes
    ----------
    n, n_unmeasured_no_jumps
        Attempts that say something, and the no jumps without a measured toe among them.
    error_m
        Mean error against the aim; positive: landed short.
    mean_square_m2, df
        Mean square of the errors about their mean, and its degrees of freedom, ``n - 1``; 0 and 0
        for a session of one attempt.
    """

    n: int
    n_unmeasured_no_jumps: int
    error_m: float
    mean_square_m2: float
    df: int


@dataclass(frozen=True, slots=True)
class ChartState:
    """Where both charts stand after a session.

    Attributes
    ----------
    n_points
        Sessions judged so far.
    level
        EWMA of the standardised session errors; beyond ``± level_limit`` the level has moved.
        Positive: short.
    level_m
        The same EWMA of the errors in metres: how large the deviation is.
    short_sum, long_sum
        Cumulative sums toward short and toward long.
    short_since, long_since
        Number of the session, from 1, with which the present run of either sum began; 0 for none.
    spread
        Exponentially weighted mean square over that of the baseline; 1 is as usual.
    spread_since
        Number of the session since which `spread` has stayed above 1; 0 for none.
    """

    n_points: int = 0
    level: float = 0.0
    level_m: float = 0.0
    short_sum: float = 0.0
    long_sum: float = 0.0
    short_since: int = 0
    long_since: int = 0
    spread: float = 1.0
    spread_since: int = 0


START = ChartState()
"""Where the charts of a plan revision begin."""


def summarise_session(
    board_toe_m: npt.ArrayLike, no_jump: npt.ArrayLike, *, baseline: Baseline
) -> SessionPoint | NotEnoughAttempts:
    """Return the point of one finished session.

    Parameters
    ----------
    board_toe_m, no_jump
        Shape (n,), the attempts of the session and the revision of `baseline`.
    baseline
        Of the revision.

    Returns
    -------
    SessionPoint or NotEnoughAttempts
        One attempt with a measured toe or a no jump is needed.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite distances.

    Notes
    -----
    An unmeasured no jump enters by its conditional expectation given that it lay beyond the line,
    for an athlete on aim with the baseline's spread; the sum of squares likewise. In control both
    then keep their expected values (Steiner & MacKay 2000, J Qual Technol 32:199-208, from
    memory). The residuals of n attempts about their own mean have n - 1 degrees of freedom, which
    is what they weigh in the spread chart, so their order within the session does not matter.

    Examples
    --------
    >>> from analytics.core import baselines
    >>> rng = np.random.default_rng(1)
    >>> toe = rng.normal(0.06, 0.08, size=24)
    >>> baseline = baselines.find_baseline(toe, toe < 0, np.repeat([1, 2, 3, 4], 6))
    >>> point = summarise_session([0.10, 0.16], [False, False], baseline=baseline)
    >>> round(point.error_m, 4), round(point.mean_square_m2, 4), point.df
    (0.07, 0.0018, 1)
    """
    toe, beyond = conventions.check_attempts(board_toe_m, no_jump)
    known = ~np.isnan(toe) | beyond
    n = int(known.sum())
    if n == 0:
        return NotEnoughAttempts(n=0, needed=1)
    toe = toe[known]
    unmeasured = np.isnan(toe)
    n_unmeasured = int(unmeasured.sum())
    sd = float(np.hypot(baseline.sigma_within_m, baseline.sigma_between_m))
    expected, variance = censored.expected_beyond_line(baseline.aim_m, sd)
    errors = np.where(unmeasured, expected, toe) - baseline.aim_m
    everyone = conventions.group_by(None, n=n)
    left = conventions.centred(errors, everyone)
    squares = float(left @ left) + n_unmeasured * variance * (1 - 1 / n)
    return SessionPoint(
        n=n,
        n_unmeasured_no_jumps=n_unmeasured,
        error_m=float(conventions.group_means(errors, everyone)[0]),
        mean_square_m2=squares / (n - 1) if n > 1 else 0.0,
        df=n - 1,
    )


def follow_session(state: ChartState, point: SessionPoint, *, baseline: Baseline) -> ChartState:
    """Return where the charts stand after one more session.

    Parameters
    ----------
    state
        After the session before, or `START`.
    point
        The session.
    baseline
        Of the plan revision.

    Returns
    -------
    ChartState

    Notes
    -----
    Level: ``z = error / sqrt(sigma_between^2 + sigma_within^2 / n)`` and
    ``level' = 0.8 level + 0.2 z``, start 0 (Lucas & Saccucci 1990, Technometrics 32:1-12).
    Spread: with ``v = mean square / sigma_within^2`` on df degrees of freedom,
    ``spread' = 0.9^df spread + (1 - 0.9^df) v``, start 1: the same as df single steps of weight
    0.1. A session of one attempt leaves the spread as it was.

    Examples
    --------
    >>> from analytics.core import baselines
    >>> rng = np.random.default_rng(1)
    >>> toe = rng.normal(0.06, 0.08, size=24)
    >>> baseline = baselines.find_baseline(toe, toe < 0, np.repeat([1, 2, 3, 4], 6))
    >>> point = summarise_session([0.26, 0.20, 0.23], [False] * 3, baseline=baseline)
    >>> state = follow_session(START, point, baseline=baseline)
    >>> state.n_points, round(state.level_m, 3), state.short_since
    (1, 0.034, 1)
    """
    number = state.n_points + 1
    standard_error = np.hypot(baseline.sigma_between_m, baseline.sigma_within_m / np.sqrt(point.n))
    z = point.error_m / float(standard_error)
    short_sum = smoothing.cusum_step(state.short_sum, z)
    long_sum = smoothing.cusum_step(state.long_sum, -z)
    kept = (1 - SPREAD_WEIGHT) ** point.df
    ratio = point.mean_square_m2 / baseline.sigma_within_m**2
    spread = kept * state.spread + (1 - kept) * ratio
    return ChartState(
        n_points=number,
        level=smoothing.ewma_step(state.level, z, weight=baselines.LEVEL_WEIGHT),
        level_m=smoothing.ewma_step(state.level_m, point.error_m, weight=baselines.LEVEL_WEIGHT),
        short_sum=short_sum,
        long_sum=long_sum,
        short_since=_since(state.short_since, number, above=short_sum > 0),
        long_since=_since(state.long_since, number, above=long_sum > 0),
        spread=spread,
        spread_since=_since(state.spread_since, number, above=spread > 1),
    )


def follow_sessions(
    points: Iterable[SessionPoint], *, baseline: Baseline, state: ChartState = START
) -> tuple[ChartState, ...]:
    """Return where the charts stand after each of several sessions, see `follow_session`.

    Examples
    --------
    >>> from analytics.core import baselines
    >>> rng = np.random.default_rng(1)
    >>> toe = rng.normal(0.06, 0.08, size=24)
    >>> baseline = baselines.find_baseline(toe, toe < 0, np.repeat([1, 2, 3, 4], 6))
    >>> point = SessionPoint(
    ...     n=4, n_unmeasured_no_jumps=0, error_m=0.0, mean_square_m2=0.0036, df=3
    ... )
    >>> [state.level for state in follow_sessions([point, point], baseline=baseline)]
    [0.0, 0.0]
    """
    states = []
    for point in points:
        state = follow_session(state, point, baseline=baseline)
        states.append(state)
    return tuple(states)


def _since(before: int, number: int, *, above: bool) -> int:
    if not above:
        return 0
    return before or number
