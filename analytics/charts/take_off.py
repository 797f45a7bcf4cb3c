"""The take-off map: where the toe came down, run by run, with board and line to scale."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from analytics.answers import words
from analytics.charts import basis
from analytics.charts.sheet import Entry, Sheet, label_ticks, marks
from analytics.core.conventions import BOARD_WIDTH_M, FloatArray
from analytics.selectors import Point

# Farther than this from the line a toe is marked at the edge.
BEHIND_M, BEYOND_M = 0.60, 0.30
_MORE_M = 0.06


@dataclass(frozen=True, slots=True)
class Landings:
    """What is drawn of some attempts: their points, in order."""

    points: Sequence[Point]
    aim_m: float | None
    is_stale: bool = False


def tell(found: Landings) -> str:
    """Say how many attempts came down where."""
    n = len(found.points)
    if not n:
        return _("Not enough attempts yet: none with a take-off to show.")
    on_board, short, no_jumps, unknown = _counted(found.points)
    text = ngettext(
        "Of {n} attempt {on_board} came down on the board, {short} short of it, {no_jumps} was a "
        "no jump.",
        "Of {n} attempts {on_board} came down on the board, {short} short of it, {no_jumps} were "
        "no jumps.",
        n,
    ).format(
        n=words.number(n),
        on_board=words.number(on_board),
        short=words.number(short),
        no_jumps=words.number(no_jumps),
    )
    if not unknown:
        return text
    left = _("Of {n} nobody measured where.").format(n=words.number(unknown))
    return f"{text} {left}"


def _counted(points: Sequence[Point]) -> tuple[int, int, int, int]:
    toe, no_jump = _toes(points)
    counts = ~no_jump & np.isfinite(toe)
    on_board = counts & (toe >= 0) & (toe <= BOARD_WIDTH_M)
    return (
        int(on_board.sum()),
        int((counts & (toe > BOARD_WIDTH_M)).sum()),
        int(no_jump.sum()),
        int((~no_jump & ~np.isfinite(toe)).sum()),
    )


def _toes(points: Sequence[Point]) -> tuple[FloatArray, np.ndarray]:
    toe = np.array([each.toe_m for each in points], dtype=np.float64)
    return toe, np.array([each.no_jump for each in points], dtype=np.bool_) | (toe < 0)


def _has_unmeasured(found: Landings) -> bool:
    return any(each.no_jump and each.toe_m is None for each in found.points)


def draw(sheet: Sheet, found: Landings) -> None:
    """Draw the runway from the side of the take-off line, the latest attempt at the bottom."""
    title = _("Take-off map")
    said = tell(found)
    if not found.points:
        sheet.words_only(title, said)
        return
    colours = sheet.colours
    on_board, _short, no_jumps, _unknown = _counted(found.points)
    n = len(found.points)
    sheet.head(
        title,
        _("{on_board} of {n} on the board, {no_jumps} no jumps.").format(
            on_board=words.number(on_board), n=words.number(n), no_jumps=words.number(no_jumps)
        ),
        said=said,
    )
    sheet.foot(
        _("The board is 20 cm wide, to scale; toes in the order of the attempts, latest below."),
        _("{days}.").format(days=basis.days([each.started_at for each in found.points], sheet)),
        _("With ?: beyond the line, nobody measured where.") if _has_unmeasured(found) else "",
        _("Newer attempts wait to be computed.") if found.is_stale else "",
    )
    entries = [
        Entry(_("on the board"), colours.main, mark="o"),
        Entry(_("short of it"), colours.main, mark="o", filled=False),
        Entry(_("no jump"), colours.alarm, mark="x"),
    ]
    if found.aim_m is not None:
        entries.append(Entry(_("aim"), colours.second, line="--"))
    sheet.key(*entries)
    axes = sheet.panel(left=EDGE_LEFT, along=_("cm from the line"), up=" ")
    _draw_board(sheet, axes, found)
    _draw_toes(sheet, axes, found)


EDGE_LEFT = 20.0


def _draw_board(sheet: Sheet, axes: Axes, found: Landings) -> None:
    colours, n = sheet.colours, len(found.points)
    toe, _no_jump = _toes(found.points)
    known = toe[np.isfinite(toe)]
    behind = min(max([0.30, *(known + _MORE_M)]), BEHIND_M)
    beyond = min(max([0.12, *(_MORE_M - known)]), BEYOND_M)
    axes.set_xlim(behind, -beyond)
    axes.set_ylim(n + 0.8, 0.2)
    axes.set_yticks([])
    label_ticks(axes, "x", -beyond, behind, about=6, unsigned=True, per_unit=100)
    axes.add_patch(
        Rectangle((0, 0.2), BOARD_WIDTH_M, n + 0.6, facecolor=colours.board, edgecolor="none")
    )
    axes.axvline(0, color=colours.ink, linewidth=2.6)
    if found.aim_m is not None:
        axes.axvline(found.aim_m, color=colours.second, linewidth=1.4, linestyle="--")
    top = 1.0
    sheet.note(
        axes,
        BOARD_WIDTH_M / 2,
        top,
        _("board"),
        colour=colours.soft,
        align="center",
        up="bottom",
        move=(0, -4),
        down=True,
    )
    sheet.note(
        axes,
        0.0,
        top,
        _("beyond: no jump"),
        colour=colours.alarm,
        up="bottom",
        move=(4, -4),
        down=True,
    )
    sheet.note(
        axes, behind, top, _("behind"), colour=colours.soft, up="bottom", move=(0, -4), down=True
    )


def _draw_toes(sheet: Sheet, axes: Axes, found: Landings) -> None:
    colours = sheet.colours
    toe, no_jump = _toes(found.points)
    rows = np.arange(1, toe.size + 1)
    farthest, nearest = axes.get_xlim()
    size = float(np.clip(200 / toe.size, 3.5, 8.0))
    short = ~no_jump & (toe > BOARD_WIDTH_M)
    on_board = ~no_jump & (toe >= 0) & (toe <= BOARD_WIDTH_M)
    inside = (toe <= farthest) & (toe >= nearest)
    for chosen, mark, colour, filled in (
        (on_board, "o", colours.main, True),
        (short & inside, "o", colours.main, False),
        (no_jump & inside, "x", colours.alarm, True),
    ):
        axes.plot(
            toe[chosen],
            rows[chosen],
            linestyle="none",
            **marks(sheet, mark, colour, filled=filled, size=size),
        )
    for place in np.flatnonzero(np.isfinite(toe) & ~inside):
        is_behind = toe[place] > farthest
        at = farthest if is_behind else nearest
        axes.plot(
            [at],
            [rows[place]],
            linestyle="none",
            clip_on=False,
            **marks(
                sheet,
                "<" if is_behind else ">",
                colours.main if is_behind else colours.alarm,
                filled=not is_behind,
                size=max(size, 6.0),
            ),
        )
        sheet.note(
            axes,
            at,
            rows[place],
            words.centimetres(float(toe[place])),
            align="left" if is_behind else "right",
            move=(8 if is_behind else -8, 0),
            on_paper=True,
        )
    for place in np.flatnonzero(no_jump & ~np.isfinite(toe)):
        axes.plot(
            [nearest],
            [rows[place]],
            linestyle="none",
            clip_on=False,
            **marks(sheet, "x", colours.alarm, size=size),
        )
        if toe.size <= 30:
            sheet.note(
                axes, nearest, rows[place], "?", colour=colours.alarm, align="right", move=(-7, 0)
            )
