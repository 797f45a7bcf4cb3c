"""What is usual for an athlete under one plan: the baseline that the charts compare with.

The first attempts of a plan revision say how much the athlete spreads. An SD from few attempts is
itself uncertain, so the limits are wide enough for an unlucky baseline.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import censored, components, conventions
from analytics.core.conventions import (
    DEFAULT_AIM_M,
    BoolArray,
    FloatArray,
    IntArray,
    NotEnoughAttempts,
)

BASELINE_ATTEMPTS = 20
BASELINE_SESSIONS = 3
BASELINE_MEASURED = 10
BASELINE_WITHIN_DF = 5
"""Attempts, sessions and measured toes that a baseline needs, and by how many the measured toes
must outnumber their sessions: one attempt a session says nothing of the spread within."""

LEVEL_WEIGHT = 0.20
"""Weight of the latest session in the level chart (Lucas & Saccucci 1990)."""

KNOWN_LEVEL_WIDTH = 2.635
"""Width of the level limits in standard deviations that gives, were the athlete's SD known, one
false alarm in 200 sessions (computed by Markov chain)."""

KNOWN_SPREAD_LIMIT = 1.84
"""Limit of the spread chart that gives, were the athlete's SD known, one false alarm in about 200
degrees of freedom (computed by Markov chain: 196)."""

UNLUCKY_SHARE = 0.10
"""Share of athletes whose baseline came out too steady for the limits to keep their promise."""

PRIOR_BETWEEN_SHARE = 0.7
PRIOR_BETWEEN_SESSIONS = 3
"""What is assumed of the SD between sessions, as a share of that within, and how many sessions
the assumption weighs. Our judgement, no source: three or four sessions say so little about it
that limits built on them alone gave one athlete in ten a false alarm every 20 to 60 sessions."""

SMALLEST_SD_M = 0.005
"""An SD below what a tape reading can show is not believed; ours."""


@dataclass(frozen=True, slots=True)
class Baseline:
    """What the charts of one plan revision compare with; frozen once complete.

    Attributes
    ----------
    n, n_measured, n_sessions
        Attempts that say something, those with a measured toe, and their sessions.
    n_sessions_spanned
        Sessions that the baseline took up, those without such an attempt included: the charts
        begin with the session after them.
    aim_m
        Target of the level chart.
    sigma_within_m, within_df
        SD within sessions and its degrees of freedom.
    sigma_between_m, between_df
        SD between sessions, drawn toward `PRIOR_BETWEEN_SHARE`, with the degrees of freedom of
        the sessions and the prior together.
    level_width, level_limit
        Width L of the level limits in standard deviations, and the limit of the EWMA itself,
        ``L sqrt(weight / (2 - weight))``; two-sided.
    spread_limit
        Upper limit of the spread chart.
    """

    n: int
    n_measured: int
    n_sessions: int
    n_sessions_spanned: int
    aim_m: float
    sigma_within_m: float
    within_df: float
    sigma_between_m: float
    between_df: float
    level_width: float
    level_limit: float
    spread_limit: float


def find_baseline(
    board_toe_m: npt.ArrayLike,
    no_jump: npt.ArrayLike,
    session: npt.ArrayLike,
    *,
    aim_m: float = DEFAULT_AIM_M,
) -> Baseline | NotEnoughAttempts:
    """Return the baseline of one plan revision once its first sessions say enough.

    Parameters
    ----------
    board_toe_m
        Shape (n,), metres behind the line, attempts of finished sessions of one plan revision in
        order; NaN where not measured. Later attempts change nothing once it is complete.
    no_jump
        Shape (n,), booleans.
    session
        Shape (n,), labels.
    aim_m
        Toe-to-board distance of the plan.

    Returns
    -------
    Baseline or NotEnoughAttempts
        The shortest row of whole sessions with `BASELINE_ATTEMPTS` attempts, `BASELINE_SESSIONS`
        sessions and `BASELINE_MEASURED` measured toes. While sessions are missing the count is
        that of sessions' attempts all the same, and never reaches the number needed.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite distances.

    Notes
    -----
    SDs as in `components.spread_components`. Unmeasured no jumps enter the SD within sessions
    through the censored fit with a mean for each session, and the session means by their expected
    distance. The variance between sessions is drawn toward ``(0.7 sigma_within)^2`` with the
    weight of three sessions. The degrees of freedom of ``sigma_between^2 + sigma_within^2 / m``,
    with m the mean attempts of a session, follow Satterthwaite; see `level_width`.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> toe = rng.normal(0.06, 0.08, size=24)
    >>> baseline = find_baseline(toe, toe < 0, np.repeat([1, 2, 3, 4], 6))
    >>> baseline.n, baseline.n_sessions, round(baseline.spread_limit, 2)
    (24, 4, 2.96)
    """
    toe, beyond = conventions.check_attempts(board_toe_m, no_jump)
    aim = float(conventions.check_aim(aim_m, n=1)[0])
    index = conventions.group_by(session, n=toe.size).index
    last = _last_session(index, measured=~np.isnan(toe), beyond=beyond)
    if last is None:
        known = int(np.count_nonzero(~np.isnan(toe) | beyond))
        return NotEnoughAttempts(n=min(known, BASELINE_ATTEMPTS - 1), needed=BASELINE_ATTEMPTS)
    kept = (index <= last) & (~np.isnan(toe) | beyond)
    toe, index = toe[kept], index[kept]
    sigma_within, within_df, filled = _spread_within(toe, index)
    parts = components.spread_components(filled, index)
    if isinstance(parts, NotEnoughAttempts):
        return parts
    sigma_within = max(sigma_within, SMALLEST_SD_M)
    between_df = parts.between_df + PRIOR_BETWEEN_SESSIONS
    between_variance = (
        parts.between_df * parts.between_sd_m**2
        + PRIOR_BETWEEN_SESSIONS * (PRIOR_BETWEEN_SHARE * sigma_within) ** 2
    ) / between_df
    mean_variance = sigma_within**2 * parts.n_sessions / parts.n
    df = (between_variance + mean_variance) ** 2 / (
        between_variance**2 / between_df + mean_variance**2 / within_df
    )
    width = level_width(df)
    return Baseline(
        n=int(toe.size),
        n_measured=int(np.count_nonzero(~np.isnan(toe))),
        n_sessions=parts.n_sessions,
        n_sessions_spanned=last + 1,
        aim_m=aim,
        sigma_within_m=sigma_within,
        within_df=within_df,
        sigma_between_m=float(np.sqrt(between_variance)),
        between_df=float(between_df),
        level_width=width,
        level_limit=width * float(np.sqrt(LEVEL_WEIGHT / (2 - LEVEL_WEIGHT))),
        spread_limit=spread_limit(within_df),
    )


def level_width(df: float) -> float:
    """Return the width L of the level limits for an SD that was estimated.

    Parameters
    ----------
    df
        Degrees of freedom of the SD by which the points are standardised.

    Returns
    -------
    float
        In standard deviations of the points.

    Notes
    -----
    ``L = 2.635 / sqrt(chi2(0.10, df) / df)``: where the baseline came out as steady as in the
    unluckiest tenth of athletes, the true width is still 2.635.

    Examples
    --------
    >>> [round(level_width(n - 1), 2) for n in (20, 30, 50)]
    [3.36, 3.19, 3.04]
    """
    return KNOWN_LEVEL_WIDTH / float(np.sqrt(stats.chi2.ppf(UNLUCKY_SHARE, df) / df))


def spread_limit(df: float) -> float:
    """Return the limit of the spread chart for a baseline with `df` degrees of freedom.

    Notes
    -----
    ``1.84 df / chi2(0.10, df)``, see `level_width`.

    Examples
    --------
    >>> round(spread_limit(19), 2)
    3.0
    """
    return KNOWN_SPREAD_LIMIT * df / float(stats.chi2.ppf(UNLUCKY_SHARE, df))


def _last_session(index: IntArray, *, measured: BoolArray, beyond: BoolArray) -> int | None:
    """Return the session with which the baseline is complete."""
    if index.size == 0:
        return None
    n_sessions = int(index.max()) + 1
    known = np.cumsum(np.bincount(index, weights=measured | beyond, minlength=n_sessions))
    seen = np.cumsum(np.bincount(index, weights=measured, minlength=n_sessions))
    # Only sessions with a measured toe say where they stood.
    sessions = np.cumsum(np.bincount(index, weights=measured, minlength=n_sessions) > 0)
    complete = (
        (known >= BASELINE_ATTEMPTS)
        & (sessions >= BASELINE_SESSIONS)
        & (seen >= BASELINE_MEASURED)
        & (seen - sessions >= BASELINE_WITHIN_DF)
    )
    return int(np.argmax(complete)) if complete.any() else None


def _spread_within(toe: FloatArray, index: IntArray) -> tuple[float, float, FloatArray]:
    """Return the SD within sessions, its df, and the toes with the unmeasured filled in.

    A session without any measured toe says nothing about its mean: its no jumps stay NaN.
    """
    measured = ~np.isnan(toe)
    located = np.isin(index, index[measured])
    groups = conventions.group_by(index[located], n=int(located.sum()))
    values, seen = toe[located], measured[located]
    if seen.all() or censored.leaves_no_spread(values, seen, groups):
        seen_groups = conventions.group_by(groups.index[seen], n=int(seen.sum()))
        left = conventions.centred(values[seen], seen_groups)
        df = float(seen.sum() - seen_groups.n_groups)
        filled = toe.copy()
        means = conventions.group_means(values[seen], seen_groups)
        filled[located] = np.where(seen, values, means[groups.index])
        return float(np.sqrt(left @ left / df)), df, filled
    design = np.eye(groups.n_groups)[groups.index]
    fit = censored.fit_linear(values[seen], design[seen], design[~seen])
    df = censored.equivalent_df(fit)
    sd = fit.sd * float(np.sqrt((df + groups.n_groups) / df))
    filled = toe.copy()
    expected = np.array(
        [censored.expected_beyond_line(float(mean), sd)[0] for mean in fit.coefficients]
    )
    filled[located] = np.where(seen, values, expected[groups.index])
    return sd, df, filled
