"""Errors taken apart: a constant, and what the place in the session, the wind and time explain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import conventions
from analytics.core.baselines import PRIOR_BETWEEN_SHARE
from analytics.core.conventions import FloatArray, IntArray, Interval

MIN_WINDS = 6
"""Wind readings below which no line on the wind is fitted."""

MIN_SESSIONS = 4
"""Sessions below which no line over the sessions is fitted."""

PRIOR_BETWEEN_DF = 2.0
"""Weight of the usual spread between sessions, in sessions, beside what these ones show; ours."""


@dataclass(frozen=True, slots=True)
class Slope:
    """The line of the errors on one cause.

    Attributes
    ----------
    estimate, standard_error, df
        Metres for each unit of the cause.
    spread_of_cause
        SD of the cause in these attempts.
    """

    estimate: float
    standard_error: float
    df: int
    spread_of_cause: float

    @property
    def p_value(self) -> float:
        """Two-sided p of no effect."""
        if self.standard_error == 0:
            return 0.0 if self.estimate else 1.0
        return float(2 * stats.t.sf(abs(self.estimate) / self.standard_error, self.df))

    def is_shown(self, level: float) -> bool:
        """Tell whether the two-sided interval of this level leaves out 0."""
        return self.p_value < 1 - level


@dataclass(frozen=True, slots=True)
class ErrorCauses:
    """Errors of one place, taken apart.

    Attributes
    ----------
    n, n_sessions
        Errors and sessions.
    mean_m, mean_standard_error_m, mean_df
        Of the errors less what place and wind explain: at the first attempt of a session, without
        wind.
    sd_m, sd_df
        Spread within sessions that nothing explains.
    place, wind, session
        Slopes on the place in the session, the wind and the number of the session; None where they
        cannot be fitted.
    """

    n: int
    n_sessions: int
    mean_m: float
    mean_standard_error_m: float
    mean_df: float
    sd_m: float
    sd_df: int
    place: Slope | None
    wind: Slope | None
    session: Slope | None

    def probability_above(self, limit_m: float) -> float:
        """Return the probability that the true mean lies above a limit."""
        if self.mean_standard_error_m == 0:
            return float(self.mean_m > limit_m)
        t = (limit_m - self.mean_m) / self.mean_standard_error_m
        return float(stats.t.sf(t, self.mean_df))

    def probability_beyond(self, limit_m: float) -> float:
        """Return the probability that the mean is off by more, on the likelier side."""
        return max(self.probability_above(limit_m), 1 - self.probability_above(-limit_m))

    def probability_within(self, limit_m: float) -> float:
        """Return the probability that the mean is off by less, on either side."""
        return self.probability_above(-limit_m) - self.probability_above(limit_m)

    def mean_interval(self) -> Interval:
        """Return the 95 % interval of the mean."""
        return conventions.t_interval(
            estimate=self.mean_m,
            standard_error=self.mean_standard_error_m,
            df=self.mean_df,
            level=conventions.DEFAULT_LEVEL,
        )


def error_causes(
    error_m: npt.ArrayLike,
    *,
    session: npt.ArrayLike,
    place: npt.ArrayLike,
    wind_mps: npt.ArrayLike,
) -> ErrorCauses:
    """Take errors apart into a constant and what explains them.

    Parameters
    ----------
    error_m
        Shape (n,), finite, metres.
    session
        Shape (n,), labels in the order of the sessions.
    place
        Shape (n,), attempts of the session before this one.
    wind_mps
        Shape (n,), positive a tail wind; NaN where not known.

    Returns
    -------
    ErrorCauses

    Raises
    ------
    ValueError
        Shapes that do not fit, errors that are not finite, fewer than two.

    Notes
    -----
    Within sessions (each its own level) the errors are fitted by least squares on place and wind
    together. A missing wind stands at the mean of the known ones, where it says nothing of the
    slope. From four sessions on the session means are fitted on the number of the session.

    The mean's variance is ``s_w^2 / n + c' V c + s_b^2 / sessions``, with V the covariance of the
    two slopes and c the mean place and wind, from which the mean is carried to 0; its degrees of
    freedom are those of Satterthwaite 1946 (from memory). A few sessions tell little of the
    variance between them, so it is drawn toward ``(0.7 s_w)^2``, with the weight of two sessions.

    Edge cases: a cause that does not vary within sessions has no slope, nor do two that cannot be
    told apart. One session: the variance between sessions is the usual one.

    Source: least squares; the drawing toward the usual spread between sessions is ours, as in
    `baselines`.

    Examples
    --------
    >>> found = error_causes(
    ...     [0.10, 0.12, 0.14, 0.11, 0.12, 0.15], session=[1, 1, 1, 2, 2, 2],
    ...     place=[0, 1, 2, 0, 1, 2], wind_mps=[np.nan] * 6,
    ... )
    >>> round(found.place.estimate, 3), round(found.mean_m, 3), found.wind
    (0.02, 0.103, None)
    """
    error = np.asarray(error_m, dtype=np.float64)
    order = np.asarray(place, dtype=np.float64)
    wind = np.asarray(wind_mps, dtype=np.float64)
    if error.ndim != 1 or error.size < 2 or {order.shape, wind.shape} != {error.shape}:
        raise ValueError(
            f"at least two errors need a place and a wind each, "
            f"got shapes {error.shape}, {order.shape} and {wind.shape}"
        )
    if not np.all(np.isfinite(error)):
        raise ValueError("error_m must be finite")
    conventions.check_not_infinite(wind, name="wind_mps")
    groups = conventions.group_by(session, n=error.size)
    reasons = {"place": order}
    known = ~np.isnan(wind)
    if np.count_nonzero(known) >= MIN_WINDS:
        reasons["wind"] = np.where(known, wind, np.mean(wind[known]))
    lines = _within_lines(error, reasons, groups)
    slopes, left, df = lines.slopes, lines.left, lines.df
    sd = float(np.sqrt(left @ left / df)) if df > 0 else 0.0
    explained = np.zeros(error.size)
    for name, slope in slopes.items():
        explained += slope.estimate * reasons[name]
    means = conventions.group_means(error - explained, groups)
    line, left_of_means, means_df = _line_over_sessions(means)
    between, between_df = _between_variance(left_of_means, means_df, sd, groups.counts)
    # The mean is carried to place 0 and no wind along lines that are themselves uncertain.
    carried = np.array([float(reasons[name].mean()) for name in slopes])
    within = sd**2 / error.size + float(carried @ lines.covariance @ carried)
    parts = np.array([within, between / groups.n_groups])
    return ErrorCauses(
        n=error.size,
        n_sessions=groups.n_groups,
        mean_m=float(np.average(means, weights=groups.counts)),
        mean_standard_error_m=float(np.sqrt(parts.sum())),
        mean_df=_satterthwaite(parts, np.array([max(df, 1), between_df])),
        sd_m=sd,
        sd_df=df,
        place=slopes.get("place"),
        wind=slopes.get("wind"),
        session=line,
    )


def lines_and_mean(
    error_m: FloatArray,
    *,
    session: npt.ArrayLike,
    place: IntArray,
    wind_mps: FloatArray,
    level: float,
) -> tuple[ErrorCauses, ErrorCauses]:
    """Take errors apart by all lines that can be drawn, and by those that are shown alone.

    Parameters
    ----------
    error_m, session, place, wind_mps
        As of `error_causes`.
    level
        At which a line counts as shown.

    Returns
    -------
    tuple of ErrorCauses
        With all lines; and with those on place and wind that are shown, for the mean. A line that
        chance drew would carry the mean off: over five attempts by twice its slope.

    Raises
    ------
    ValueError
        As `error_causes`.

    Examples
    --------
    >>> lines, mean = lines_and_mean(
    ...     np.array([0.10, 0.12, 0.11, 0.12, 0.10, 0.13]), session=[1, 1, 1, 2, 2, 2],
    ...     place=np.array([0, 1, 2, 0, 1, 2]), wind_mps=np.full(6, np.nan), level=0.98,
    ... )
    >>> round(lines.mean_m, 3), round(mean.mean_m, 3), mean.place
    (0.108, 0.113, None)
    """
    lines = error_causes(error_m, session=session, place=place, wind_mps=wind_mps)
    by_place, by_wind = (
        slope is not None and slope.is_shown(level) for slope in (lines.place, lines.wind)
    )
    mean = error_causes(
        error_m,
        session=session,
        place=place if by_place else np.zeros(error_m.size),
        wind_mps=wind_mps if by_wind else np.full(error_m.size, np.nan),
    )
    return lines, mean


def place_in_session(session: npt.ArrayLike) -> IntArray:
    """Return how many attempts of its session came before each, in the order given.

    Examples
    --------
    >>> place_in_session([4, 4, 7, 4]).tolist()
    [0, 1, 0, 2]
    """
    seen: dict[object, int] = {}
    labels = np.asarray(session).tolist()
    place = np.zeros(len(labels), dtype=np.int64)
    for i, label in enumerate(labels):
        place[i] = seen.get(label, 0)
        seen[label] = int(place[i]) + 1
    return place


@dataclass(frozen=True, slots=True)
class _Lines:
    slopes: dict[str, Slope]
    covariance: FloatArray  # of the slopes, in their order
    left: FloatArray
    df: int


def _within_lines(
    error: FloatArray, reasons: dict[str, FloatArray], groups: conventions.Groups
) -> _Lines:
    """Fit the reasons within sessions together."""
    y = conventions.centred(error, groups)
    none = _Lines({}, np.empty((0, 0)), y, error.size - groups.n_groups)
    design = {name: conventions.centred(cause, groups) for name, cause in reasons.items()}
    design = {name: x for name, x in design.items() if float(x @ x) > 1e-9}
    df = error.size - groups.n_groups - len(design)
    if not design or df < 2:
        return none
    matrix = np.column_stack(list(design.values()))
    if np.linalg.matrix_rank(matrix) < matrix.shape[1]:
        return none
    slopes, *_ = np.linalg.lstsq(matrix, y, rcond=None)
    left = y - matrix @ slopes
    inverse = np.linalg.inv(matrix.T @ matrix)
    covariance = np.asarray(float(left @ left) / df * inverse, dtype=np.float64)
    found = {
        name: Slope(float(slope), float(np.sqrt(variance)), df, float(reasons[name].std()))
        for name, slope, variance in zip(design, slopes, np.diag(covariance), strict=True)
    }
    return _Lines(found, covariance, left, df)


def _line_over_sessions(means: FloatArray) -> tuple[Slope | None, FloatArray, int]:
    number = np.arange(means.size, dtype=np.float64)
    if means.size < 4:
        return None, means - means.mean(), means.size - 1
    fit = stats.linregress(number, means)
    left = means - fit.intercept - fit.slope * number
    return (
        Slope(float(fit.slope), float(fit.stderr), means.size - 2, float(number.std())),
        left,
        means.size - 2,
    )


def _between_variance(
    left: FloatArray, df: int, sd: float, counts: IntArray
) -> tuple[float, float]:
    """Return the variance between sessions, drawn toward (0.7 sd)^2, and its df."""
    prior = (PRIOR_BETWEEN_SHARE * sd) ** 2
    if df < 1:
        return prior, PRIOR_BETWEEN_DF
    seen = max(0.0, float(left @ left) / df - sd**2 * float(np.mean(1 / counts)))
    weight = df + PRIOR_BETWEEN_DF
    return (df * seen + PRIOR_BETWEEN_DF * prior) / weight, weight


def _satterthwaite(parts: FloatArray, df: FloatArray) -> float:
    """Return the degrees of freedom of a sum of variances (Satterthwaite 1946, from memory)."""
    total = float(parts.sum())
    if total == 0:
        return float(df[0])
    return total**2 / float((parts**2 / df).sum())
