"""The wind table: how far all marks move for each wind."""

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import words
from analytics.answers.told import Told
from analytics.answers.wind_table import OWN, SPOKEN_MPS, Winds
from analytics.charts import basis
from analytics.charts.sheet import Entry, Sheet, label_ticks, marks, rule
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.wind_table import WindTable
from analytics.selectors import RunUps

_LEAST_SIDE_CM = 15.0
_MOST_SIDE_CM = 150.0


def draw(sheet: Sheet, run_ups: RunUps, found: Winds, said: Told) -> None:
    """Draw the move of the marks against the wind, head wind at the left."""
    title = _("Wind table: how far all marks move")
    table = found.table
    if isinstance(table, NotEnoughAttempts):
        sheet.words_only(title, said.text, caution=said.caution or "")
        return
    colours = sheet.colours
    sheet.head(title, _headline(table), said=basis.said_and_cautioned(said))
    sheet.foot(
        _whose(table),
        _("Shaded: 95% interval."),
        basis.said_of(run_ups, sheet) if len(run_ups) else "",
        basis.short_caution(said),
    )
    if table.n and not table.seen.all():
        sheet.key(
            Entry(_("winds that were met"), colours.main, mark="o"),
            Entry(_("carried on"), colours.main, mark="o", filled=False),
        )
    axes = sheet.panel(left=44, up=_("marks move, cm"), along=_("head wind  ←  m/s  →  tail wind"))
    move, low, high = (100 * each for each in (table.move_m, table.move_low_m, table.move_high_m))
    side = 1.1 * min(max(_LEAST_SIDE_CM, float(np.abs([low, high]).max())), _MOST_SIDE_CM)
    axes.set_ylim(-side, side)
    axes.set_xlim(table.wind_mps[0] - 0.5, table.wind_mps[-1] + 0.5)
    rule(axes, sheet, label_ticks(axes, "y", -side, side, about=6, unsigned=True))
    axes.axhline(0, color=colours.ink, linewidth=1)
    axes.axvline(0, color=colours.rule, linewidth=0.8)
    axes.set_xticks(list(table.wind_mps), [words.number(abs(each)) for each in table.wind_mps])
    for y, text in ((1.0, _("back, away from the pit")), (0.0, _("toward the pit"))):
        sheet.note(
            axes,
            0.01,
            y,
            text,
            colour=colours.soft,
            up="top" if y == 1 else "bottom",
            across=True,
            down=True,
            on_paper=True,
        )
    axes.fill_between(
        table.wind_mps,
        np.clip(low, -side, side),
        np.clip(high, -side, side),
        color=colours.band,
        linewidth=0,
    )
    axes.plot(table.wind_mps, np.clip(move, -side, side), color=colours.main, linewidth=1.8)
    for seen in (True, False):
        those = (table.seen == seen) if table.n else np.full(move.size, not seen)
        axes.plot(
            table.wind_mps[those],
            np.clip(move[those], -side, side),
            linestyle="none",
            **marks(sheet, "o", colours.main, filled=seen, size=7),
        )


def _headline(table: WindTable) -> str:
    return _("Tail wind of {wind} m/s: {tail}.\nHead wind of {wind} m/s: {head}.").format(
        wind=words.number(SPOKEN_MPS),
        tail=_moved(table, SPOKEN_MPS),
        head=_moved(table, -SPOKEN_MPS),
    )


def _moved(table: WindTable, wind_mps: float) -> str:
    row = int(np.flatnonzero(table.wind_mps == wind_mps)[0])
    move = float(table.move_m[row])
    size = words.centimetres(move)
    if abs(move) < 0.005:
        return _("as planned")
    if move > 0:
        return _("{size} back").format(size=size)
    return _("{size} toward the pit").format(size=size)


def _whose(table: WindTable) -> str:
    if table.n == 0:
        return _("What is usual, not this athlete's own.")
    if table.own_share < OWN:
        return _("Still more what is usual than this athlete's own ({share}).").format(
            share=words.percent(table.own_share)
        )
    return _("This athlete's own to {share}.").format(share=words.percent(table.own_share))
