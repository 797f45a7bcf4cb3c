"""Spread by footfall: where it is largest, where steering begins, what is left at the board."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from django.utils.translation import gettext as _
from matplotlib.axes import Axes

from analytics.answers import steering, words
from analytics.answers.steering import Steering
from analytics.charts import basis
from analytics.charts.sheet import SMALL, Sheet, label_ticks, marks, rule, text_width
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.spread import MIN_ATTEMPTS, FootfallSpread, Onset, Phase, PhaseStarts


@dataclass(frozen=True, slots=True, eq=False)
class Stored:
    """What is drawn of figures that are stored.

    Attributes
    ----------
    n, n_sessions, started_at
        How many attempts the spread rests on, and when the first and the last were made.
    """

    spread: FootfallSpread | NotEnoughAttempts
    phases: PhaseStarts | None
    n: int
    n_sessions: int
    started_at: Sequence[datetime]
    is_stale: bool = False


def spread_of(stored: Mapping[str, Any]) -> FootfallSpread | NotEnoughAttempts:
    """Return a spread from the JSON that it was stored as; null is NaN."""
    if "not_enough_attempts" in stored:
        return NotEnoughAttempts(n=stored["n"], needed=stored["needed"])
    read = {name: _array(value) for name, value in stored.items()}
    found = stored["onset"]
    read["onset"] = None
    if found is not None:
        read["onset"] = Onset(
            footfall=found["footfall"],
            distance_m=found["distance_m"],
            phase=None if found["phase"] is None else Phase(found["phase"]),
            is_late=found["is_late"],
            adjustment_percent=_array(found["adjustment_percent"]),
        )
    return FootfallSpread(**read)


def _array(value: Any) -> Any:
    return np.array(value, dtype=np.float64) if isinstance(value, list) else value


def draw(sheet: Sheet, stored: Stored) -> None:
    """Draw the spread from the start of the run-up, at the left, to the board."""
    title = _("Spread of the footfalls along the run-up")
    found = stored.spread
    lacking = NotEnoughAttempts(n=0, needed=MIN_ATTEMPTS)
    said = steering.tell(Steering(found, lacking, reading_sd_m=0.0))
    if isinstance(found, NotEnoughAttempts):
        sheet.words_only(title, said.text)
        return
    colours = sheet.colours
    known = np.flatnonzero(np.isfinite(found.sd_m))
    sheet.head(title, _headline(found), said=said.text)
    sheet.foot(
        _("Spread: SD from attempt to attempt within a plan. Shaded: 95% interval."),
        basis.said_of_window(stored.n, stored.n_sessions, stored.started_at, sheet=sheet),
        _("Newer attempts wait to be computed.") if stored.is_stale else "",
    )
    axes = sheet.panel(
        up=_("spread, cm"), along=_("steps to take-off (0: the take-off foot)"), right=26
    )
    # Intervals of few attempts are wide: what is drawn is what is known, not how little.
    top = max(1.15 * 100 * float(np.max(found.sd_m[known])), 5.0)
    top = min(max(top, 100 * float(np.nanmax(found.sd_high_m[known], initial=0.0))), 1.6 * top)
    farthest = max(int(known[-1]), 2)
    axes.set_xlim(farthest + 0.4, -0.6)
    axes.set_ylim(0, 1.12 * top)
    rule(axes, sheet, label_ticks(axes, "y", 0, 1.02 * top))
    every = 1 if farthest <= 8 else 2 if farthest <= 14 or not sheet.is_small else 4
    places = list(range(0, farthest + 1, every))
    axes.set_xticks(places, [words.number(each) for each in places])
    _phases(sheet, axes, stored.phases, farthest, top)
    axes.fill_between(
        known,
        100 * found.sd_low_m[known],
        np.minimum(100 * found.sd_high_m[known], top),
        color=colours.band,
        linewidth=0,
    )
    axes.plot(known, 100 * found.sd_m[known], color=colours.main, linewidth=2.2)
    axes.plot(
        known,
        100 * found.sd_m[known],
        linestyle="none",
        **marks(sheet, "o", colours.main, size=4.5),
    )
    _onset(sheet, axes, found)


def _headline(found: FootfallSpread) -> str:
    if found.onset is None:
        return _("It is not shown where steering begins.")
    return _("Steering begins {steps} before take-off.").format(
        steps=words.steps(found.onset.footfall)
    )


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


def _onset(sheet: Sheet, axes: Axes, found: FootfallSpread) -> None:
    colours = sheet.colours
    values = 100 * found.sd_m
    if np.isfinite(values[0]):
        sheet.note(
            axes,
            0,
            values[0],
            words.centimetres(float(found.sd_m[0])),
            align="center",
            up="bottom",
            move=(2, -7),
            bold=True,
        )
    if found.onset is None:
        return
    at = found.onset.footfall
    axes.plot([at, at], [0, values[at]], color=colours.second, linewidth=1.6, linestyle="--")
    axes.plot([at], [values[at]], linestyle="none", **marks(sheet, "D", colours.second, size=8))
    sheet.note(
        axes,
        at,
        values[at],
        words.centimetres(float(found.sd_m[at])),
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
