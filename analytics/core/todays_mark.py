"""Where the run begins today: the planned mark and all that moves it, as one sum."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy import stats

from analytics.core import conventions, wind
from analytics.core.conventions import Interval

GROWTH_SHARE_SD = 0.5
"""How well it is known that steps lengthen as the body does: SD as a share of the move; ours."""


class Reason(StrEnum):
    """What a start mark is moved for, in the order in which a coach goes through it."""

    PLAN = "plan"
    WIND = "wind"
    RUNWAY = "runway"
    GROWTH = "growth"
    DAY = "day"


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the sum.

    Attributes
    ----------
    move_m
        By how much it moves the start mark; positive: farther from the pit.
    sd_m
        How well that is known.
    """

    move_m: float
    sd_m: float


@dataclass(frozen=True, slots=True)
class TodaysMark:
    """The start mark of today and what it is made of.

    Attributes
    ----------
    planned_m
        The start mark of the plan, metres behind the take-off line.
    parts
        Those that are known, by reason, in the order of `Reason`.
    not_known
        Reasons of which nothing was said: neither their move nor their spread is in the sum.
    move_m, sd_m, interval
        The whole move of the mark, and how well it is known.
    start_mark_m
        Where to begin, to the centimetre.
    """

    planned_m: float
    parts: Mapping[Reason, Part]
    not_known: tuple[Reason, ...]
    move_m: float
    sd_m: float
    interval: Interval
    start_mark_m: float


def todays_mark(planned_m: float, parts: Mapping[Reason, Part]) -> TodaysMark:
    """Add up where the run begins today.

    Parameters
    ----------
    planned_m
        Start mark of the plan, metres behind the take-off line.
    parts
        What is known of today: `wind_part`, `runway_part`, `growth_part`, and for `Reason.DAY`
        and `Reason.PLAN` what earlier sessions say (`usual_days.usual_day`, `mark_advice`), signs
        changed: who lands short moves toward the pit.

    Returns
    -------
    TodaysMark

    Raises
    ------
    ValueError
        A mark or a part that is not finite, a negative SD, a mark at or beyond the line.

    Notes
    -----
    Moves are added, and so are variances, since nothing was run yet that could tie the parts
    together: the law of uncertainty for inputs that do not correlate (JCGM 100:2008, 5.1.2, from
    memory). Once run-throughs have been run, `learn` divides among the parts what they said.

    Edge cases: no parts leave the planned mark with an SD of 0, and all reasons in `not_known`:
    an SD speaks of the parts that are there, and of those alone.

    The coach on the spot decides. Pain, a growth spurt, a wet or uneven runway, an unsafe pit or
    lightning stop the session, whatever the sum says.

    Examples
    --------
    >>> mark = todays_mark(30.0, {Reason.WIND: Part(0.09, 0.04), Reason.DAY: Part(-0.02, 0.03)})
    >>> mark.start_mark_m, round(mark.sd_m, 3), [str(each) for each in mark.not_known]
    (30.07, 0.05, ['plan', 'runway', 'growth'])
    """
    for reason, part in parts.items():
        if not (np.isfinite(part.move_m) and 0 <= part.sd_m < np.inf):
            raise ValueError(
                f"the {reason} part must be finite with an SD of 0 or more, got {part}"
            )
    sd = math.hypot(*(part.sd_m for part in parts.values()))
    return _mark(planned_m, parts, sd_m=sd)


def learn(mark: TodaysMark, *, bias_m: float, bias_sd_m: float) -> TodaysMark:
    """Divide among the parts what run-throughs from today's mark have shown.

    Parameters
    ----------
    mark
        From which they were run.
    bias_m, bias_sd_m
        What is believed of its error after them (`warm_up.calibrate`, with N(0, ``mark.sd_m^2``)
        believed before); positive: lands short.

    Returns
    -------
    TodaysMark
        Its `sd_m` is `bias_sd_m`. It is no longer the root of the parts' squares: who knows the
        sum knows that a part that is larger than thought makes another one smaller.

    Raises
    ------
    ValueError
        Values that are not finite, an SD that is negative or larger than before.

    Notes
    -----
    With v_k the variance of a part, V their sum and U that after the run-throughs, a part moves by
    ``-v_k / V x bias``, and is left with ``v_k - (v_k / V)^2 (V - U)``: conditioning of a normal
    vector on its sum. Parts known exactly stay as they are.

    Examples
    --------
    >>> mark = todays_mark(30.0, {Reason.WIND: Part(0.09, 0.04), Reason.DAY: Part(-0.02, 0.03)})
    >>> learned = learn(mark, bias_m=-0.05, bias_sd_m=0.03)
    >>> learned.start_mark_m, round(learned.parts[Reason.WIND].move_m, 3)
    (30.12, 0.122)
    """
    if not np.isfinite(bias_m) or not 0 <= bias_sd_m <= mark.sd_m:
        raise ValueError(
            f"bias_m must be finite and bias_sd_m at most that before ({mark.sd_m}), "
            f"got {bias_m} and {bias_sd_m}"
        )
    before = mark.sd_m**2
    if before == 0:
        return _mark(mark.planned_m, mark.parts, sd_m=0.0)
    learned = {}
    for reason, part in mark.parts.items():
        share = part.sd_m**2 / before
        left = part.sd_m**2 - share**2 * (before - bias_sd_m**2)
        learned[reason] = Part(part.move_m - share * bias_m, float(np.sqrt(max(left, 0.0))))
    return _mark(mark.planned_m, learned, sd_m=bias_sd_m)


def wind_part(
    slope_m: float, *, slope_sd_m: float, wind_mps: float, wind_sd_mps: float = 0.0
) -> Part:
    """Return the move for the wind.

    Parameters
    ----------
    slope_m, slope_sd_m
        Change of the error for each m/s of `wind.felt_wind`, metres, negative; the athlete's own
        or `wind.usual_wind_slope`, and how well it is known.
    wind_mps, wind_sd_mps
        Wind along the runway that is expected in the run-up, positive a tail wind, and by how much
        gusts depart from it.

    Returns
    -------
    Part
        A tail wind moves the mark back.

    Raises
    ------
    ValueError
        Values that are not finite, negative SDs.

    Notes
    -----
    ``-slope u`` with ``u = w - w^2 / 16``. A gust of SD s makes an SD of ``s |1 - w / 8|`` of u,
    to first order; the variance is that of a product of two independent quantities.

    Examples
    --------
    >>> part = wind_part(-0.08, slope_sd_m=0.05, wind_mps=2.0, wind_sd_mps=0.5)
    >>> round(part.move_m, 3), round(part.sd_m, 3)
    (0.14, 0.094)
    """
    values = (slope_m, slope_sd_m, wind_mps, wind_sd_mps)
    if not np.all(np.isfinite(values)) or slope_sd_m < 0 or wind_sd_mps < 0:
        raise ValueError(f"the wind's slope, speed and SDs must be finite, SDs 0 or more: {values}")
    felt = float(wind.felt_wind(wind_mps))
    gust = wind_sd_mps * (1 - wind_mps / 8)
    variance = (felt * slope_sd_m) ** 2 + (slope_m * gust) ** 2 + (slope_sd_m * gust) ** 2
    return Part(move_m=-slope_m * felt, sd_m=float(np.sqrt(variance)))


def runway_part(effect_m: float, *, effect_sd_m: float) -> Part:
    """Return the move for the runway, from `runway_effects.runway_effects`.

    Raises
    ------
    ValueError
        Values that are not finite, a negative SD.

    Examples
    --------
    >>> runway_part(-0.03, effect_sd_m=0.02)
    Part(move_m=0.03, sd_m=0.02)
    """
    if not (np.isfinite(effect_m) and 0 <= effect_sd_m < np.inf):
        raise ValueError(
            f"the effect must be finite with an SD of 0 or more, got {effect_m} and {effect_sd_m}"
        )
    return Part(move_m=-effect_m, sd_m=effect_sd_m)


def growth_part(
    run_m: float, *, height_then_m: float, height_now_m: float, height_sd_m: float
) -> Part:
    """Return the move for what the athlete has grown since the mark was set.

    Parameters
    ----------
    run_m
        Length of the run-up, metres.
    height_then_m, height_now_m
        Height of the body when the mark was set, and now.
    height_sd_m
        Of one reading of either; the mean of two readings has 0.7 of it.

    Returns
    -------
    Part
        Longer steps move the mark back; never negative.

    Raises
    ------
    ValueError
        Lengths that are not above 0 and finite, a negative SD.

    Notes
    -----
    ``run (now / then - 1)``: steps lengthen as the body does. That is our assumption, without a
    source, so half of the move is its SD; reading the two heights adds ``run sqrt(2) sd / then``,
    and 5 mm there are 8 cm of a mark at 25 m. Read heights twice, and watch the check mark.

    A smaller height than before is a reading error: the part is 0 with the SD of the readings.
    Growth spurts change rhythm and load before they change a mark: the coach on the spot decides,
    pain or a spurt stop the session.

    Examples
    --------
    >>> part = growth_part(25.0, height_then_m=1.60, height_now_m=1.62, height_sd_m=0.003)
    >>> round(part.move_m, 3), round(part.sd_m, 3)
    (0.312, 0.17)
    """
    lengths = (run_m, height_then_m, height_now_m)
    if not all(0 < length < np.inf for length in lengths) or not 0 <= height_sd_m < np.inf:
        raise ValueError(f"lengths must be above 0 and the SD 0 or more: {lengths}, {height_sd_m}")
    move = run_m * max(height_now_m / height_then_m - 1, 0.0)
    reading = run_m * np.sqrt(2) * height_sd_m / height_then_m
    part = Part(move_m=move, sd_m=float(np.hypot(GROWTH_SHARE_SD * move, reading)))
    if not np.isfinite([part.move_m, part.sd_m]).all():
        raise ValueError(f"no body grows so much: {lengths}")
    return part


def _mark(planned_m: float, parts: Mapping[Reason, Part], *, sd_m: float) -> TodaysMark:
    ordered = {reason: parts[reason] for reason in Reason if reason in parts}
    move = float(sum(part.move_m for part in ordered.values()))
    if not np.isfinite(planned_m) or planned_m + move <= 0:
        raise ValueError(f"the mark must lie behind the line, got {planned_m} moved by {move} m")
    half = float(stats.norm.ppf(0.5 + conventions.DEFAULT_LEVEL / 2)) * sd_m
    return TodaysMark(
        planned_m=planned_m,
        parts=ordered,
        not_known=tuple(reason for reason in Reason if reason not in parts),
        move_m=move,
        sd_m=sd_m,
        interval=Interval(move - half, move + half, conventions.DEFAULT_LEVEL),
        start_mark_m=round(planned_m + move, 2),
    )
