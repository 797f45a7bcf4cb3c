"""The outlook by aim: what attempts would be, wherever the toe came down on the mean."""

from django.utils.translation import gettext as _
from matplotlib.axes import Axes

from analytics.answers import words
from analytics.answers.outlook import Ahead
from analytics.answers.told import Told
from analytics.charts import basis
from analytics.charts.sheet import Entry, Sheet, is_for_paper
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.outlook import ByAim, Outlook
from analytics.selectors import RunUps


def draw(sheet: Sheet, run_ups: RunUps, found: Ahead, said: Told) -> None:
    """Draw the shares of no jumps, on the board and short of it, the line at the right."""
    title = _("Outlook by aim")
    ahead, by_aim = found.outlook, found.by_aim
    if isinstance(ahead, NotEnoughAttempts) or by_aim is None:
        sheet.words_only(title, said.text)
        return
    colours = sheet.colours
    sheet.head(title, _headline(ahead), said=said.text)
    sheet.foot(
        _("For attempts like these, if the toe comes down there on the mean."),
        _("This athlete's own risk of a no jump now: {range}.").format(
            range=words.percents(ahead.probability_no_jump_interval)
        ),
        basis.said_of(run_ups, sheet),
    )
    hatch = "////" if is_for_paper(sheet) else "///"
    sheet.key(
        Entry(_("no jump"), colours.second_band, is_band=True, hatch=hatch),
        Entry(_("on the board"), colours.band, is_band=True),
        Entry(_("short of it"), colours.paper, is_band=True, has_edge=True),
    )
    axes = sheet.panel(left=52, right=20, along=_("mean place of the toe, cm behind the line"))
    place = 100 * by_aim.aim_m
    no_jump = 100 * by_aim.probability_no_jump
    board = no_jump + 100 * by_aim.probability_on_board
    axes.set_xlim(place[-1], place[0])
    axes.set_ylim(0, 100)
    axes.set_yticks([0, 25, 50, 75, 100], [words.percent(each / 4) for each in range(5)])
    axes.set_xticks(place[::5], [words.number(each) for each in place[::5]])
    axes.fill_between(
        place,
        0,
        no_jump,
        facecolor=colours.second_band,
        hatch=hatch,
        edgecolor=colours.second,
        linewidth=0,
    )
    axes.fill_between(place, no_jump, board, facecolor=colours.band, linewidth=0)
    axes.plot(place, no_jump, color=colours.second, linewidth=2.2)
    axes.plot(place, board, color=colours.main, linewidth=1.6, linestyle="--")
    _places(sheet, axes, ahead, by_aim)


def _places(sheet: Sheet, axes: Axes, ahead: Outlook, by_aim: ByAim) -> None:
    """Mark where the toe is expected and where it should be."""
    colours = sheet.colours
    first, last = 100 * by_aim.aim_m[0], 100 * by_aim.aim_m[-1]
    now, aim = 100 * ahead.mean_m, 100 * ahead.aim_m
    is_one = abs(now - aim) < 0.5
    for at, text, style, row in (
        (now, _("now and aim") if is_one else _("now"), "-", 0.95),
        (aim, _("aim"), (0, (2, 2)), 0.84),
    ):
        if text == _("aim") and is_one:
            continue
        inside = min(max(at, first), last)
        if inside == at:
            axes.axvline(at, color=colours.ink, linewidth=1.6, linestyle=style)
        arrow = "" if inside == at else "→ " if at < first else "← "
        is_right = inside < (first + last) / 2
        sheet.note(
            axes,
            inside,
            row,
            f"{arrow}{text}",
            align="right" if is_right else "left",
            move=(-5 if is_right else 5, 0),
            down=True,
            bold=True,
            on_paper=True,
        )


def _headline(ahead: Outlook) -> str:
    return _("Now {no_jump} no jumps, {on_board} on the board.").format(
        no_jump=words.percent(ahead.probability_no_jump),
        on_board=words.percent(ahead.probability_on_board),
    )
