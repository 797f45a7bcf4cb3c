"""How much of the spread lies within sessions, and how much between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core import conventions
from analytics.core.conventions import Interval, NotEnoughAttempts

MIN_SESSIONS = 3
"""Sessions below which nothing is said about the spread between sessions."""


@dataclass(frozen=True, slots=True)
class SpreadComponents:
    """Spread within and between sessions, plan revisions apart.

    Attributes
    ----------
    n
        Values used.
    n_sessions
        Sessions, counted apart in each plan revision.
    within_sd_m, within_df
        Pooled SD about the session means and its degrees of freedom.
    between_sd_m, between_df
        SD of the true session means, 0 when the session means differ no more than attempts do;
        degrees of freedom of the mean square between sessions.
    total_sd_m
        ``sqrt(within^2 + between^2)``: the SD of an attempt of a new session.
    mean_standard_error_m, mean_df
        Standard error of the overall mean when sessions differ, and its degrees of freedom.
    """

    n: int
    n_sessions: int
    within_sd_m: float
    within_df: int
    between_sd_m: float
    between_df: int
    total_sd_m: float
    mean_standard_error_m: float
    mean_df: float


def spread_components(
    values_m: npt.ArrayLike,
    session: npt.ArrayLike,
    *,
    revision: npt.ArrayLike | None = None,
) -> SpreadComponents | NotEnoughAttempts:
    """Split the spread of attempts into that within and that between sessions.

    Parameters
    ----------
    values_m
        Shape (n,), metres; NaN is left out.
    session, revision
        Shape (n,), labels. Sessions are compared within a plan revision only.

    Returns
    -------
    SpreadComponents or NotEnoughAttempts
        Counted in sessions: `MIN_SESSIONS` are needed, one more for each further revision, and
        one attempt more than there are sessions.

    Raises
    ------
    ValueError
        Labels of another length, or infinite values.

    Notes
    -----
    Nested analysis of variance by moments. With mean squares between (MB) and within (MW),
    ``between^2 = max(0, (MB - MW) / n0)``, ``n0 = (N - sum over revisions of
    (sum of n_s^2 / n_r)) / df_between`` (Searle, Casella & McCulloch 1992, Variance Components,
    from memory). The mean's variance is ``(MW + between^2 c) / N`` with ``c = sum of n_s^2 / N``,
    for equal sessions MB / N, and its degrees of freedom follow Satterthwaite 1946 (from memory).
    When MB is below MW both are pooled, and the df are those between and within together.

    Examples
    --------
    >>> parts = spread_components([1.0, 3.0, 5.0, 7.0, 3.0, 5.0], [1, 1, 2, 2, 3, 3])
    >>> round(parts.within_sd_m, 4), round(parts.between_sd_m, 4)
    (1.4142, 1.7321)
    """
    values = np.asarray(values_m, dtype=np.float64)
    _check_one_dimension(values)
    revisions = conventions.group_by(revision, n=values.size)
    sessions = conventions.group_by(revision, session, n=values.size)
    measured = ~np.isnan(values)
    values = values[measured]
    revisions = conventions.group_by(revisions.index[measured], n=values.size)
    sessions = conventions.group_by(sessions.index[measured], n=values.size)
    between_df = sessions.n_groups - revisions.n_groups
    within_df = values.size - sessions.n_groups
    if between_df < MIN_SESSIONS - 1 or within_df < 1:
        return NotEnoughAttempts(
            n=sessions.n_groups, needed=MIN_SESSIONS + max(revisions.n_groups - 1, 0)
        )
    within = conventions.centred(values, sessions)
    about_revision = conventions.centred(values, revisions)
    within_square = float(within @ within) / within_df
    between_square = float(np.sum((about_revision - within) ** 2)) / between_df
    counts = sessions.counts.astype(np.float64)
    revision_of_session = np.empty(sessions.n_groups, dtype=np.int64)
    revision_of_session[sessions.index] = revisions.index
    squares = np.bincount(revision_of_session, weights=counts**2)
    typical = (values.size - float(np.sum(squares / revisions.counts))) / between_df
    between_variance = max(0.0, (between_square - within_square) / typical)
    share = float(np.sum(counts**2)) / values.size / typical
    mean_variance, mean_df = _mean_variance(
        within_square, between_square, within_df, between_df, share
    )
    return SpreadComponents(
        n=int(values.size),
        n_sessions=sessions.n_groups,
        within_sd_m=float(np.sqrt(within_square)),
        within_df=within_df,
        between_sd_m=float(np.sqrt(between_variance)),
        between_df=between_df,
        total_sd_m=float(np.sqrt(within_square + between_variance)),
        mean_standard_error_m=float(np.sqrt(mean_variance / values.size)),
        mean_df=mean_df,
    )


def mean_interval(mean_m: float, parts: SpreadComponents, *, level: float) -> Interval:
    """Return the interval of a mean that holds when sessions differ.

    Examples
    --------
    >>> parts = spread_components([1.0, 3.0, 5.0, 7.0, 3.0, 5.0], [1, 1, 2, 2, 3, 3])
    >>> round(mean_interval(4.0, parts, level=0.95).low, 3)
    -0.968
    """
    return conventions.t_interval(
        estimate=mean_m, standard_error=parts.mean_standard_error_m, df=parts.mean_df, level=level
    )


def _mean_variance(
    within: float, between: float, within_df: int, between_df: int, share: float
) -> tuple[float, float]:
    """Return N times the variance of the overall mean, and its degrees of freedom."""
    if between <= within:
        df = float(between_df + within_df)
        return (between * between_df + within * within_df) / df, df
    from_between = share * between
    from_within = (1 - share) * within
    variance = from_between + from_within
    df = variance**2 / (from_between**2 / between_df + from_within**2 / within_df)
    return variance, df


def _check_one_dimension(values: npt.NDArray[np.float64]) -> None:
    if values.ndim != 1:
        raise ValueError(f"values_m must have one dimension, got shape {values.shape}")
    conventions.check_not_infinite(values, name="values_m")
