"""Spread by footfall: where it is largest, where steering begins, what is left at the board."""

from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _
from matplotlib.axes import Axes

from analytics.answers import steering, words
from analytics.answers.steering import Steering
from analytics.answers.told import Told
from analytics.charts import basis
from analytics.charts.sheet import SMALL, Sheet, label_ticks, marks, rule, text_width
from analytics.core.conventions import FloatArray, NotEnoughAttempts
from analytics.core.spread import FootfallSpread, PhaseStarts
from analytics.selectors import RunUps


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """What is drawn of a spread, whether it was worked out now or stored; arrays are by footfall.

    Attributes
    ----------
    onset
        Footfall from which steering is shown to begin; None where it is not.
    """

    sd_m: FloatArray
    low_m: FloatArray
    high_m: FloatArray
    onset: int | None
    phases: PhaseStarts | None


def draw(sheet: Sheet, run_ups: RunUps, found: Steering, said: Told) -> None:
    """Draw the spread of the footfalls of an answer on steering."""
    if isinstance(found.spread, NotEnoughAttempts):
        sheet.words_only(title(), said.text)
        return
    draw_curve(
        sheet,
        curve_of(found.spread, steering.phase_starts_of(run_ups.latest_marks())),
        said=said.text,
        rests_on=basis.said_of(run_ups, sheet),
    )


def title() -> str:
    return _("Spread of the footfalls along the run-up")


def curve_of(found: FootfallSpread, phases: PhaseStarts | None) -> Curve:
    """Return what is drawn of the spread that the core found."""
    return Curve(
        sd_m=found.sd_m,
        low_m=found.sd_low_m,
        high_m=found.sd_high_m,
        onset=None if found.onset is None else found.onset.footfall,
        phases=phases,
    )


def draw_curve(sheet: Sheet, curve: Curve, *, said: str, rests_on: str) -> None:
    """Draw the spread from the start of the run-up, at the left, to the board."""
    colours = sheet.colours
    known = np.flatnonzero(np.isfinite(curve.sd_m))
    sheet.head(title(), _headline(curve), said=said)
    sheet.foot(
        _("Spread: SD from attempt to attempt within a plan. Shaded: 95% interval."), rests_on
    )
    axes = sheet.panel(
        up=_("spread, cm"), along=_("steps to take-off (0: the take-off foot)"), right=26
    )
    # Intervals of few attempts are wide: what is drawn is what is known, not how little.
    top = max(1.15 * 100 * float(np.max(curve.sd_m[known])), 5.0)
    top = min(max(top, 100 * float(np.nanmax(curve.high_m[known], initial=0.0))), 1.6 * top)
    farthest = max(int(known[-1]), 2)
    axes.set_xlim(farthest + 0.4, -0.6)
    axes.set_ylim(0, 1.12 * top)
    rule(axes, sheet, label_ticks(axes, "y", 0, 1.02 * top))
    every = 1 if farthest <= 8 else 2 if farthest <= 14 or not sheet.is_small else 4
    places = list(range(0, farthest + 1, every))
    axes.set_xticks(places, [words.number(each) for each in places])
    _phases(sheet, axes, curve.phases, farthest, top)
    axes.fill_between(
        known,
        100 * curve.low_m[known],
        np.minimum(100 * curve.high_m[known], top),
        color=colours.band,
        linewidth=0,
    )
    axes.plot(known, 100 * curve.sd_m[known], color=colours.main, linewidth=2.2)
    axes.plot(
        known,
        100 * curve.sd_m[known],
        linestyle="none",
        **marks(sheet, "o", colours.main, size=4.5),
    )
    _onset(sheet, axes, curve)


def _headline(curve: Curve) -> str:
    if curve.onset is None:
        return _("It is not shown where steering begins.")
    return _("Steering begins {steps} before take-off.").format(steps=words.steps(curve.onset))


def _phases(
    sheet: Sheet, axes: Axes, phases: PhaseStarts | None, farthest: int, top: float
) -> None:
    if phases is None or phases.transition >= farthest:
        return
    ends = (farthest, phases.transition, phases.attack, 0)
    names = (_("acceleration"), _("transition"), _("attack"))
    pixels_per_step = (sheet.width - 66) / (farthest + 1)
    for begins, ends_at, name in zip(ends, ends[1:], names, strict=False):
        if ends_at:
            axes.axvline(ends_at, color=sheet.colours.soft, linewidth=0.9, linestyle=(0, (2, 2)))
        if text_width(name, SMALL) < pixels_per_step * (begins - ends_at):
            sheet.note(
                axes,
                (begins + ends_at) / 2,
                1.12 * top,
                name,
                colour=sheet.colours.soft,
                align="center",
                up="top",
            )


def _onset(sheet: Sheet, axes: Axes, curve: Curve) -> None:
    colours = sheet.colours
    values = 100 * curve.sd_m
    if np.isfinite(values[0]):
        sheet.note(
            axes,
            0,
            values[0],
            words.centimetres(float(curve.sd_m[0])),
            align="center",
            up="bottom",
            move=(2, -7),
            bold=True,
        )
    if curve.onset is None:
        return
    at = curve.onset
    axes.plot([at, at], [0, values[at]], color=colours.second, linewidth=1.6, linestyle="--")
    axes.plot([at], [values[at]], linestyle="none", **marks(sheet, "D", colours.second, size=8))
    sheet.note(
        axes,
        at,
        values[at],
        words.centimetres(float(curve.sd_m[at])),
        align="center",
        up="bottom",
        move=(0, -8),
        bold=True,
    )
    sheet.note(
        axes,
        at,
        0,
        _("steering begins"),
        colour=colours.second,
        align="right" if at < 0.4 * values.size else "left",
        up="bottom",
        move=(-5 if at < 0.4 * values.size else 5, -4),
        on_paper=True,
    )
