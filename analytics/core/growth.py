"""How fast does the athlete grow, and do the marks want another look?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import cautions, conventions
from analytics.core.causes import Slope
from analytics.core.conventions import DEFAULT_LEVEL, FloatArray, Interval

DAYS_OF_YEAR = 365.25

LINE_LEVEL = 0.98
"""Confidence at which the interval of a line over sessions must leave out 0; ours."""

_APART_SDS = 3.0  # so far below an earlier height is no error of usual measuring


@dataclass(frozen=True, slots=True)
class GrowthSettings:
    """Our judgement; settings of the club change them.

    Attributes
    ----------
    apart_days
        Less apart, two heights say more of the measuring than of the growing.
    recheck_m
        Growth since the plan from which the marks want another look.
    fast_m_per_year
        From this velocity on a caution is open: more than in the years before the spurt (5 to 6 cm
        a year, from memory), less than at its peak (8.3 cm in girls, 9.5 cm in boys: Abbassi 1998,
        Pediatrics 102:507-511, abstract).
    measure_sd_m
        SD of one measured height.
    together_days
        Heights within so many days are one measuring: their mean counts.
    stale_days
        After so many days without a height nobody knows whether the athlete grows.
    """

    apart_days: float = 90
    recheck_m: float = 0.02
    fast_m_per_year: float = 0.07
    measure_sd_m: float = 0.005
    together_days: float = 7
    stale_days: float = 120


DEFAULT_SETTINGS = GrowthSettings()


@dataclass(frozen=True, slots=True)
class NotEnoughMeasures:
    """What stands in place of a figure from too few heights.

    >>> str(NotEnoughMeasures(n=0, needed=1))
    'not enough measures (0 of 1)'
    """

    n: int
    needed: int

    def __str__(self) -> str:
        return f"not enough measures ({self.n} of {self.needed})"


@dataclass(frozen=True, slots=True)
class Growth:
    """How the athlete grows, as far as heights tell.

    Attributes
    ----------
    n
        Measurings; heights taken together are one.
    latest_day, latest_height_m
        Of the last of them.
    velocity_m_per_year, velocity_interval, over_days
        Between it and the last one before that is far enough from it, and how far; None where
        there is none.
    fast
        The velocity reaches `GrowthSettings.fast_m_per_year`; None without a velocity.
    since_plan_m, since_plan_interval
        Growth since the measuring that stands for the plan; None without a plan, or where no
        other was made since.
    recheck_marks
        It reaches `GrowthSettings.recheck_m`; None where it is None.
    measure_again
        A height lies below an earlier one by more than measuring errs: one of them is wrong.
    caution_open
        `fast` or `recheck_marks`; None where the heights are too old or too few to say no.
    caution
        To be shown with it.
    """

    n: int
    latest_day: float
    latest_height_m: float
    velocity_m_per_year: float | None
    velocity_interval: Interval | None
    over_days: float | None
    fast: bool | None
    since_plan_m: float | None
    since_plan_interval: Interval | None
    recheck_marks: bool | None
    measure_again: bool
    caution_open: bool | None
    caution: str


def follow_growth(
    day: npt.ArrayLike,
    height_m: npt.ArrayLike,
    *,
    today: float,
    plan_day: float | None = None,
    settings: GrowthSettings = DEFAULT_SETTINGS,
    level: float = DEFAULT_LEVEL,
) -> Growth | NotEnoughMeasures:
    """Say how fast the athlete grows, and whether the marks want another look.

    Parameters
    ----------
    day
        Shape (n,), days on any one count, in any order.
    height_m
        Shape (n,), metres. Two heights of one day, or of one week, are one measuring.
    today
        On the same count; later heights are left out.
    plan_day
        When the marks were set; None where there is no plan.
    settings
        Limits.
    level
        Of the intervals.

    Returns
    -------
    Growth or NotEnoughMeasures
        One height is needed; each figure then says for itself whether there is enough of it.

    Raises
    ------
    ValueError
        Shapes that do not fit, days that are not finite, heights that are not positive and finite,
        a level outside (0, 1).

    Notes
    -----
    ``velocity = (height now - height before) / years between``, "before" the last measuring at
    least 90 days earlier. One height errs by 0.005 m (SD; ours), the mean of m of them by that
    over sqrt(m), so the interval is ``± 1.96 sqrt(SD^2/m1 + SD^2/m2) / years``. Over just 90 days
    of single heights that is ± 5.6 cm a year: measure twice, and wait longer.

    For the plan stands the last measuring until its day, or the first after it. Its growth counts
    from there: marks set long after a measuring are looked at too early rather than too late.

    Heights say that a body changes, not how much it bears: a caution, never a diagnosis. Formulas
    that tell maturity from heights err by about a year and are not used (from memory).

    Edge cases: 0.0200 m of growth is 2 cm. Growth comes out negative where measuring erred.

    Source: limits are ours.

    Examples
    --------
    >>> found = follow_growth([0, 0, 100], [1.600, 1.604, 1.626], today=110, plan_day=5)
    >>> round(found.velocity_m_per_year, 4), found.fast, found.over_days
    (0.0877, True, 100.0)
    >>> round(found.since_plan_m, 3), found.recheck_marks, found.caution_open
    (0.024, True, True)
    """
    conventions.check_level(level)
    if not np.isfinite([today, today if plan_day is None else plan_day]).all():
        raise ValueError(f"today and plan_day must be finite, got {today} and {plan_day}")
    days, heights, counts = _measurings(*_check(day, height_m, today=today), settings)
    n = int(days.size)
    if n == 0:
        return NotEnoughMeasures(n=0, needed=1)
    z = float(stats.norm.ppf(0.5 + level / 2))
    errors = settings.measure_sd_m / np.sqrt(counts)

    def grown_since(place: int, years: float = 1.0) -> tuple[float, Interval]:
        rate = float(heights[-1] - heights[place]) / years
        half = z * float(np.hypot(errors[-1], errors[place])) / years
        return rate, Interval(rate - half, rate + half, level)

    velocity = velocity_interval = over = fast = None
    early = np.flatnonzero(days <= days[-1] - settings.apart_days)
    if early.size:
        over = float(days[-1] - days[early[-1]])
        velocity, velocity_interval = grown_since(int(early[-1]), over / DAYS_OF_YEAR)
        fast = velocity >= settings.fast_m_per_year
    since = since_interval = recheck = None
    at_plan = _place_of_plan(days, plan_day)
    if at_plan is not None and at_plan < n - 1:
        since, since_interval = grown_since(at_plan)
        recheck = since >= settings.recheck_m - conventions.NO_SPREAD_M
    fell = np.maximum.accumulate(heights) - heights
    return Growth(
        n=n,
        latest_day=float(days[-1]),
        latest_height_m=float(heights[-1]),
        velocity_m_per_year=velocity,
        velocity_interval=velocity_interval,
        over_days=over,
        fast=fast,
        since_plan_m=since,
        since_plan_interval=since_interval,
        recheck_marks=recheck,
        measure_again=bool(np.any(fell > _APART_SDS * np.hypot(errors, errors.max()))),
        caution_open=_caution_open(
            fast, recheck, is_stale=today - float(days[-1]) > settings.stale_days
        ),
        caution=f"{cautions.NO_DIAGNOSIS} {cautions.COACH_DECIDES}",
    )


@dataclass(frozen=True, slots=True)
class Outgrown:
    """Whether an athlete has outgrown the marks, by both things that may tell.

    Attributes
    ----------
    by_height
        Heights since the plan say so; None where none was measured since.
    by_line
        From session to session the foot lands nearer the pit; None below four sessions.
    """

    by_height: bool | None
    by_line: bool | None

    @property
    def shown(self) -> bool:
        """One of both is enough: feet may follow a body late, and nobody may have measured it."""
        return bool(self.by_height or self.by_line)


def outgrown(
    grown: Growth | NotEnoughMeasures, line: Slope | None, *, level: float = LINE_LEVEL
) -> Outgrown:
    """Say whether the marks have been outgrown: the one judgement of all answers.

    Parameters
    ----------
    grown
        Of heights, with the day of the plan.
    line
        Of the errors at the watched footfall over the sessions under this plan
        (`causes.error_causes`).
    level
        At which the line counts as shown.

    Returns
    -------
    Outgrown

    Raises
    ------
    ValueError
        A level outside (0, 1).

    Notes
    -----
    Heights: 2 cm since the plan (`GrowthSettings.recheck_m`). The line: shown at `level`, and
    toward the pit (`lengthens_steps`). A body that does not grow may run from session to session
    with longer steps all the same, since it got faster; the marks want another look either way.

    Examples
    --------
    >>> grown = follow_growth([0, 100], [1.600, 1.604], today=110, plan_day=5)
    >>> found = outgrown(grown, Slope(-0.08, 0.01, 6, 2.3))
    >>> found.by_height, found.by_line, found.shown
    (False, True, True)
    """
    conventions.check_level(level)
    by_height = None if isinstance(grown, NotEnoughMeasures) else grown.recheck_marks
    by_line = None if line is None else lengthens_steps(line) and line.is_shown(level)
    return Outgrown(by_height, by_line)


def lengthens_steps(line: Slope) -> bool:
    """Tell whether a line over sessions goes the way that growth does: toward the pit.

    Longer steps from the same mark end nearer the pit. In 375 boys stature before the growth spurt
    and leg length after it went with longer steps in a sprint (Meyers, Oliver, Hughes, Lloyd &
    Cronin 2017, J Strength Cond Res 31:1009-1016, abstract).

    Examples
    --------
    >>> lengthens_steps(Slope(-0.08, 0.01, 6, 2.3)), lengthens_steps(Slope(0.08, 0.01, 6, 2.3))
    (True, False)
    """
    return line.estimate < 0


def outgrown_day(
    day: npt.ArrayLike,
    height_m: npt.ArrayLike,
    *,
    today: float,
    plan_day: float,
    settings: GrowthSettings = DEFAULT_SETTINGS,
) -> float | None:
    """Return the day from which on heights say that the marks of a plan want another look.

    Parameters
    ----------
    day, height_m, today, plan_day, settings
        As of `follow_growth`.

    Returns
    -------
    float or None
        The day of the first height that says so and is not taken back by a later one; None where
        the latest says no, or nobody measured since the plan.

    Raises
    ------
    ValueError
        As `follow_growth`.

    Examples
    --------
    >>> outgrown_day([0, 50, 100, 150], [1.60, 1.61, 1.63, 1.64], today=160, plan_day=5)
    100.0
    """
    found = None
    for until in sorted({float(each) for each in np.asarray(day, dtype=np.float64)}):
        if until > today:
            break
        grown = follow_growth(day, height_m, today=until, plan_day=plan_day, settings=settings)
        says_so = isinstance(grown, Growth) and bool(grown.recheck_marks)
        found = (until if found is None else found) if says_so else None
    return found


def _caution_open(fast: bool | None, recheck: bool | None, *, is_stale: bool) -> bool | None:
    if fast or recheck:
        return True
    return None if is_stale or fast is None else False


def _place_of_plan(days: FloatArray, plan_day: float | None) -> int | None:
    if plan_day is None:
        return None
    return max(0, int(np.searchsorted(days, plan_day, side="right")) - 1)


def _measurings(
    days: FloatArray, heights: FloatArray, settings: GrowthSettings
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mean day, mean height and how many heights of each measuring, in order."""
    starts: list[float] = []
    index = np.empty(days.size, dtype=np.int64)
    for place, day in enumerate(days):
        if not starts or day - starts[-1] > settings.together_days:
            starts.append(float(day))
        index[place] = len(starts) - 1
    counts = np.bincount(index, minlength=len(starts)).astype(np.float64)
    return (
        np.bincount(index, weights=days, minlength=len(starts)) / counts,
        np.bincount(index, weights=heights, minlength=len(starts)) / counts,
        counts,
    )


def _check(
    day: npt.ArrayLike, height_m: npt.ArrayLike, *, today: float
) -> tuple[FloatArray, FloatArray]:
    days, heights = np.asarray(day, dtype=np.float64), np.asarray(height_m, dtype=np.float64)
    if days.ndim != 1 or days.shape != heights.shape:
        raise ValueError(
            f"day and height_m need one number for each measure, got {days.shape} and"
            f" {heights.shape}"
        )
    if not np.isfinite(days).all():
        raise ValueError("day must be finite")
    if not np.all((heights > 0) & np.isfinite(heights)):
        raise ValueError("height_m must be positive and finite")
    order = np.argsort(days, kind="stable")
    order = order[days[order] <= today]
    return days[order], heights[order]
