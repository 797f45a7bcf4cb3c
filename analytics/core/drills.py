"""Does a drill of the first phases end where the full run-up passes?"""

from __future__ import annotations

import bisect
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from analytics.core import conventions
from analytics.core.conventions import (
    DEFAULT_LEVEL,
    NO_SPREAD_M,
    FloatArray,
    IntArray,
    Interval,
    NotEnoughAttempts,
)

MARGIN_M = 0.10
"""A drill that ends nearer than this to where the full run passes trains the same run-up: what is
worth a move at a check mark (`mark_advice`); ours."""

ERROR_RATE = 0.05
"""How often a drill that departs by the margin is called the same; our choice."""

TOLERANCE_SHARE = 0.80
"""Share of the athlete's own full runs that pass within the tolerance; ours."""

MIN_DF = 2
"""Runs of each kind must outnumber the sessions by this."""

_MOST_RUNS = 1000
_POWER = 0.80


class DrillAnswer(StrEnum):
    """Whether the drill ends where the full run passes."""

    SAME = "same"
    DIFFERENT = "different"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class DrillFigures:
    """A drill against the same footfall of the full run-up.

    Attributes
    ----------
    answer
        Same, different or undecided, by the margin.
    n_drills, n_full, n_sessions
        Runs compared, and the sessions that have both.
    difference_m, interval
        Where the drill ends less where the full run passes, with its interval of 95 %; positive:
        the drill ends short, farther from the pit.
    equivalence_interval
        That of 90 %, which decides.
    p_value
        Of "they differ by the margin or more": the larger of the two one-sided tests.
    drill_sd_m, full_sd_m
        SD of one run within a session.
    sd_ratio, sd_ratio_interval
        Drill / full, with its F interval; None where one of them does not spread.
    mark_m
        Where the full runs pass: the mark at which the drill should end.
    tolerance_m
        Next to the mark: `TOLERANCE_SHARE` of the athlete's own full runs pass within it.
    within, within_interval
        Share of the drills that ended within the tolerance.
    runs_to_show
        Runs of each kind, in one session, that would show "same" in four cases of five, were there
        no difference at all; None for more than 1,000.
    """

    answer: DrillAnswer
    n_drills: int
    n_full: int
    n_sessions: int
    difference_m: float
    interval: Interval
    equivalence_interval: Interval
    p_value: float
    drill_sd_m: float
    full_sd_m: float
    sd_ratio: float | None
    sd_ratio_interval: Interval | None
    mark_m: float
    tolerance_m: float
    within: float
    within_interval: Interval
    runs_to_show: int | None


def compare_drill(
    drill_toe_m: npt.ArrayLike,
    full_toe_m: npt.ArrayLike,
    *,
    drill_session: npt.ArrayLike | None = None,
    full_session: npt.ArrayLike | None = None,
    margin_m: float = MARGIN_M,
) -> DrillFigures | NotEnoughAttempts:
    """Compare where a phase drill ends with where the full run-up passes.

    Parameters
    ----------
    drill_toe_m
        Shape (d,): last footfall of each drill, metres behind the take-off line; NaN is left out.
    full_toe_m
        Shape (f,): the same footfall of full run-ups. Both as from one start mark: where it was
        moved in between, less the move.
    drill_session, full_session
        Labels; both or neither. Drills are compared with the full runs of their own session, and
        sessions that lack one of both are left out.
    margin_m
        A departure that would matter, above 0.

    Returns
    -------
    DrillFigures or NotEnoughAttempts
        Counted in runs of the rarer kind: `MIN_DF` more than there are sessions with both, and at
        least one such session.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, sessions of one kind only, a margin not above 0.

    Notes
    -----
    The difference is the mean over sessions of "drills less full runs", weighted by
    ``n_d n_f / (n_d + n_f)`` as in least squares with a level for each session. Its variance comes
    from the SDs within sessions, apart for drills and full runs, its degrees of freedom from
    Satterthwaite 1946; in one session that is Welch's t (all from memory).

    **Same** asks for evidence, as **different** does: two one-sided tests at 5 %, that is the
    interval of 90 % within plus and minus the margin (Schuirmann 1987, J Pharmacokinet Biopharm
    15:657-680, from memory). That no difference was found says nothing where few runs were
    compared; it is **undecided** then. **Different**: the same interval beyond the margin.

    The tolerance is the half width of the interval for the next full run,
    ``t s sqrt(1 + 1 / f)``: drills are asked for no more than full runs keep.

    Edge cases: runs that do not spread at all decide by the difference alone.

    More drills are more load. The coach on the spot decides; pain, a growth spurt, a wet or uneven
    runway stop the session.

    Examples
    --------
    >>> figures = compare_drill(
    ...     [20.12, 20.05, 20.10, 20.01, 20.07], [20.02, 20.10, 19.98, 20.06, 20.04]
    ... )
    >>> figures.answer.value, round(figures.difference_m, 3), round(figures.p_value, 3)
    ('same', 0.03, 0.018)
    """
    if not 0 < margin_m < np.inf:
        raise ValueError(f"margin_m must be above 0 and finite, got {margin_m}")
    if (drill_session is None) != (full_session is None):
        raise ValueError("sessions are needed of drills and full runs, or of neither")
    drill, drill_at = _known(drill_toe_m, drill_session, name="drill")
    full, full_at = _known(full_toe_m, full_session, name="full")
    both = np.intersect1d(drill_at, full_at)
    drill_kept, full_kept = np.isin(drill_at, both), np.isin(full_at, both)
    drill, drill_at = drill[drill_kept], np.searchsorted(both, drill_at[drill_kept])
    full, full_at = full[full_kept], np.searchsorted(both, full_at[full_kept])
    rarer, needed = min(drill.size, full.size), max(int(both.size), 1) + MIN_DF
    if rarer < needed:
        return NotEnoughAttempts(n=rarer, needed=needed)

    n_drill, n_full = np.bincount(drill_at), np.bincount(full_at)
    weight = n_drill * n_full / (n_drill + n_full)
    weight = weight / weight.sum()
    drill_mean, drill_sd = _within(drill, drill_at)
    full_mean, full_sd = _within(full, full_at)
    difference = float(weight @ (drill_mean - full_mean))
    drill_df, full_df = drill.size - both.size, full.size - both.size
    shares = (
        (drill_sd**2 * float(weight**2 @ (1 / n_drill)), drill_df),
        (full_sd**2 * float(weight**2 @ (1 / n_full)), full_df),
    )
    variance = sum(part for part, _ in shares)
    df = float(drill_df + full_df)
    if variance > NO_SPREAD_M**2:
        df = variance**2 / sum(part**2 / own for part, own in shares)
    standard_error = float(np.sqrt(variance))
    wide, narrow = (
        conventions.t_interval(
            estimate=difference, standard_error=standard_error, df=df, level=level
        )
        for level in (DEFAULT_LEVEL, 1 - 2 * ERROR_RATE)
    )
    mark = float(full.mean())
    tolerance = float(
        stats.t.ppf(0.5 + TOLERANCE_SHARE / 2, full_df) * full_sd * np.sqrt(1 + 1 / full.size)
    )
    # A tape shows no less than this: a drill on the mark is within a tolerance of nothing.
    within = int(np.count_nonzero(np.abs(drill - mark) <= tolerance + NO_SPREAD_M))
    ratio, ratio_interval = _ratio(drill_sd, drill_df, full_sd, full_df)
    return DrillFigures(
        answer=_answer(narrow, margin_m),
        n_drills=drill.size,
        n_full=full.size,
        n_sessions=int(both.size),
        difference_m=difference,
        interval=wide,
        equivalence_interval=narrow,
        p_value=_p_value(difference, standard_error, df, margin_m),
        drill_sd_m=drill_sd,
        full_sd_m=full_sd,
        sd_ratio=ratio,
        sd_ratio_interval=ratio_interval,
        mark_m=mark,
        tolerance_m=tolerance,
        within=within / drill.size,
        within_interval=conventions.wilson_interval(
            successes=within, n=drill.size, level=DEFAULT_LEVEL
        ),
        runs_to_show=runs_to_show(drill_sd, full_sd, margin_m=margin_m),
    )


def runs_to_show(drill_sd_m: float, full_sd_m: float, *, margin_m: float = MARGIN_M) -> int | None:
    """Return how many runs of each kind would show that a drill ends where the full run passes.

    Parameters
    ----------
    drill_sd_m, full_sd_m
        SD of one run, metres.
    margin_m
        A departure that would matter, above 0.

    Returns
    -------
    int or None
        Of each kind, in one session, for "same" in four cases of five, were there no difference at
        all; None for more than 1,000.

    Raises
    ------
    ValueError
        SDs that are negative or not finite, a margin that is not above 0 and finite.

    Notes
    -----
    ``2 T(margin / se - t) - 1`` with ``se^2 = (s_d^2 + s_f^2) / n``, t that of one side at 5 % and
    T the distribution of Student's t with 2 (n - 1) degrees of freedom: close, and by a run or two
    too few where both SDs differ much.

    Examples
    --------
    >>> runs_to_show(0.10, 0.10), runs_to_show(0.20, 0.20)
    (18, 70)
    """
    if not (0 <= drill_sd_m < np.inf and 0 <= full_sd_m < np.inf and 0 < margin_m < np.inf):
        raise ValueError(
            "SDs must be finite and 0 or more, the margin above 0, got"
            f" {drill_sd_m}, {full_sd_m} and {margin_m}"
        )
    spread = max(float(np.hypot(drill_sd_m, full_sd_m)), NO_SPREAD_M)

    def power(n: int) -> float:
        df = 2 * (n - 1)
        reach = margin_m * n**0.5 / spread - special.stdtrit(df, 1 - ERROR_RATE)
        return float(2 * special.stdtr(df, reach) - 1)

    numbers = range(MIN_DF + 1, _MOST_RUNS + 1)
    first = bisect.bisect_left(numbers, _POWER, key=power)
    return numbers[first] if first < len(numbers) else None


def _known(
    toe_m: npt.ArrayLike, session: npt.ArrayLike | None, *, name: str
) -> tuple[FloatArray, npt.NDArray[np.generic]]:
    toe = np.asarray(toe_m, dtype=np.float64)
    labels = np.zeros(toe.shape) if session is None else np.asarray(session)
    if toe.ndim != 1 or labels.shape != toe.shape:
        raise ValueError(f"the {name} runs need one footfall, and one session for each")
    conventions.check_not_infinite(toe, name=f"{name}_toe_m")
    known = ~np.isnan(toe)
    return toe[known], labels[known]


def _within(toe: FloatArray, session: IntArray) -> tuple[FloatArray, float]:
    """Return the mean of each session, and the SD of one run about it."""
    groups = conventions.Groups(index=session, counts=np.bincount(session).astype(np.int64))
    left = conventions.centred(toe, groups)
    sd = float(np.sqrt(left @ left / (toe.size - groups.n_groups)))
    return conventions.group_means(toe, groups), sd


def _answer(interval: Interval, margin: float) -> DrillAnswer:
    if -margin < interval.low and interval.high < margin:
        return DrillAnswer.SAME
    if interval.low > margin or interval.high < -margin:
        return DrillAnswer.DIFFERENT
    return DrillAnswer.UNDECIDED


def _p_value(difference: float, standard_error: float, df: float, margin: float) -> float:
    left = margin - abs(difference)
    if standard_error <= NO_SPREAD_M:
        return 0.0 if left > 0 else 1.0
    return float(stats.t.sf(left / standard_error, df))


def _ratio(
    drill_sd: float, drill_df: int, full_sd: float, full_df: int
) -> tuple[float | None, Interval | None]:
    if min(drill_sd, full_sd) <= NO_SPREAD_M:
        return None, None
    ratio, tail = drill_sd / full_sd, (1 - DEFAULT_LEVEL) / 2
    return ratio, Interval(
        low=ratio / float(np.sqrt(stats.f.isf(tail, drill_df, full_df))),
        high=ratio * float(np.sqrt(stats.f.isf(tail, full_df, drill_df))),
        level=DEFAULT_LEVEL,
    )
