"""Error shares: what each part of the run-up adds, and what of it is left at the board."""

import numpy as np
from django.utils.translation import gettext as _
from matplotlib.axes import Axes

from analytics.answers import words
from analytics.answers.error_shares import SURE_OF_PART, WORTH_REHEARSING, Shares
from analytics.answers.told import Told
from analytics.charts import basis
from analytics.charts.sheet import EDGE, SMALL, Sheet, label_ticks, text_width
from analytics.core.conventions import FloatArray, NotEnoughAttempts
from analytics.core.error_shares import PARTS, ErrorShares
from analytics.selectors import RunUps

_GAP = 26.0


def draw(sheet: Sheet, run_ups: RunUps, found: Shares, said: Told) -> None:
    """Draw the parts in the order in which they are run, from the top."""
    title = _("Where the error at the board comes from")
    shares = found.error_shares
    if isinstance(shares, NotEnoughAttempts):
        sheet.words_only(title, said.text, caution=said.caution or "")
        return
    sheet.head(title, _headline(shares), said=basis.said_and_cautioned(said))
    sheet.foot(
        _("Right: of the unsteadiness at the board after later steps have repaired. Lines: 95%."),
        basis.said_of(run_ups, sheet),
        basis.short_caution(said),
    )
    names = part_names()
    left = EDGE + max(text_width(each, SMALL) for each in names) + 8
    half = (sheet.width - left - EDGE - _GAP - 8) / 2
    added = sheet.panel(left=left, right=EDGE + 8 + half + _GAP, along=_("adds, cm (SD)"))
    reaches = sheet.panel(left=left + half + _GAP, right=EDGE + 8, along=_("at the board, %"))
    most_cm = max(1.3 * 100 * float(np.max(shares.added_sd_m)), 2.0)
    _bars(sheet, added, 100 * shares.added_sd_m, most=most_cm, first=shares.adds_most)
    added.set_yticks(range(len(PARTS)), names)
    added.tick_params(axis="y", labelcolor=sheet.colours.ink)
    share = 100 * shares.board_share
    reaches.set_yticks([])
    if np.isnan(share).any():
        reaches.set_xticks([])
        sheet.note(reaches, 0.5, 0.5, "–", align="center", across=True, down=True)
        return
    _bars(sheet, reaches, share, most=100.0, first=shares.adds_most)
    reaches.hlines(
        np.arange(len(PARTS)) + 0.33,
        100 * shares.board_share_low,
        np.minimum(100 * shares.board_share_high, 100.0),
        color=sheet.colours.ink,
        linewidth=1.4,
    )


def part_names() -> tuple[str, ...]:
    """Return what the parts are called beside an axis."""
    return (_("start"), _("acceleration"), _("transition"), _("attack"))


def _bars(sheet: Sheet, axes: Axes, values: FloatArray, *, most: float, first: int) -> None:
    colours = sheet.colours
    for place, value in enumerate(values):
        is_first = place == first
        axes.barh(
            place,
            value,
            height=0.5,
            facecolor=colours.main if is_first else colours.band,
            edgecolor=colours.main,
            linewidth=1.0,
        )
        sheet.note(
            axes,
            0,
            place - 0.29,
            words.number(float(value)),
            up="bottom",
            move=(1, 0),
            bold=is_first,
        )
    axes.set_ylim(len(PARTS) - 0.5, -0.75)
    axes.set_xlim(0, most)
    for at in label_ticks(axes, "x", 0, most, about=3):
        axes.axvline(at, color=colours.rule, linewidth=0.7, zorder=0)


def _headline(found: ErrorShares) -> str:
    if np.isnan(found.board_share).any():
        return _("No error to share out.")
    most = found.adds_most
    said = {
        "part": part_names()[most],
        "added": words.centimetres(float(found.added_sd_m[most])),
    }
    if found.adds_most_frequency[most] < SURE_OF_PART:
        return _("No part stands out.")
    if found.board_share[most] < WORTH_REHEARSING:
        return _("Adds most: {part}, {added}; later steps repair it.").format(**said)
    return _("Adds most: {part}, {added}.").format(**said)
