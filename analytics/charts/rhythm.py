"""The rhythm of the last three steps: how long each is, and how long it takes."""

from django.utils.translation import gettext as _
from matplotlib.axes import Axes

from analytics.answers import words
from analytics.answers.rhythm import Rhythm
from analytics.answers.told import Told
from analytics.charts import basis
from analytics.charts.sheet import Entry, Sheet, label_ticks, marks, rule
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.last_steps import LastSteps, MeanOf
from analytics.selectors import RunUps

Ratios = tuple[MeanOf | NotEnoughAttempts, MeanOf | NotEnoughAttempts]
# At least so much is shown, percent of the third-last step.
_LEAST, _MOST = 85.0, 115.0
_FARTHEST = (40.0, 200.0)
_ASIDE = 0.07


def draw(sheet: Sheet, run_ups: RunUps, found: Rhythm, said: Told) -> None:
    """Draw the last three steps in the order in which they are run."""
    title = _("Rhythm of the last three steps")
    last = found.last_steps
    if isinstance(last, NotEnoughAttempts) or not _known(last):
        sheet.words_only(title, said.text)
        return
    colours = sheet.colours
    sheet.head(title, _headline(last), said=said.text)
    sheet.foot(
        _("Against the third-last step of the same attempt. Lines: 95% intervals of the mean."),
        basis.said_of(run_ups, sheet),
    )
    sheet.key(
        Entry(_("length"), colours.main, mark="o", line="-"),
        Entry(_("time"), colours.second, mark="s", line="--", filled=False),
    )
    lengths: Ratios = (last.length_ratio_2, last.length_ratio_1)
    times: Ratios = (last.time_ratio_2, last.time_ratio_1)
    axes = sheet.panel(left=52, right=34, up=_("% of the third-last step"))
    low, high = _limits([*lengths, *times])
    axes.set_ylim(low, high)
    axes.set_xlim(-0.3, 2.3)
    rule(axes, sheet, label_ticks(axes, "y", low, high))
    axes.axhline(100, color=colours.ink, linewidth=1)
    axes.set_xticks(range(3), [_("third-last"), _("last but one"), _("last")])
    _course(sheet, axes, lengths, is_length=True)
    _course(sheet, axes, times, is_length=False)


def _known(last: LastSteps) -> list[MeanOf]:
    ratios = (last.length_ratio_2, last.length_ratio_1, last.time_ratio_2, last.time_ratio_1)
    return [each for each in ratios if isinstance(each, MeanOf)]


def _limits(ratios: list[MeanOf | NotEnoughAttempts]) -> tuple[float, float]:
    known = [each for each in ratios if isinstance(each, MeanOf)]
    low = min([_LEAST, *(100 * max(each.interval.low, each.mean - 0.2) - 3 for each in known)])
    high = max([_MOST, *(100 * min(each.interval.high, each.mean + 0.2) + 5 for each in known)])
    return max(low, _FARTHEST[0]), min(high, _FARTHEST[1])


def _course(sheet: Sheet, axes: Axes, ratios: Ratios, *, is_length: bool) -> None:
    colour = sheet.colours.main if is_length else sheet.colours.second
    aside = -_ASIDE if is_length else _ASIDE
    known = [(place, each) for place, each in enumerate(ratios, 1) if isinstance(each, MeanOf)]
    if not known:
        return
    places = [aside, *(place + aside for place, _each in known)]
    values = [100.0, *(100 * each.mean for _place, each in known)]
    axes.plot(
        places, values, color=colour, linewidth=2.2, linestyle="-" if is_length else (0, (4, 2))
    )
    low, high = axes.get_ylim()
    for place, each in known:
        axes.plot(
            [place + aside] * 2,
            [max(100 * each.interval.low, low), min(100 * each.interval.high, high)],
            color=colour,
            linewidth=1.6,
        )
        sheet.note(
            axes,
            place + aside,
            100 * each.mean,
            words.number(100 * each.mean),
            colour=colour,
            # Lengths bend most, so their numbers stand beyond the bend, times beside it.
            align="center" if is_length else "left",
            up="center" if not is_length else "bottom" if each.mean >= 1 else "top",
            move=(-14, -4 if each.mean >= 1 else 4) if is_length else (8, -9),
            bold=True,
        )
    axes.plot(
        places,
        values,
        linestyle="none",
        **marks(sheet, "o" if is_length else "s", colour, filled=is_length, size=8),
    )


def _headline(last: LastSteps) -> str:
    if last.n_lengths:
        return _("Medium, long, short in {hits} of {n}.").format(
            hits=words.number(last.n_medium_long_short), n=words.number(last.n_lengths)
        )
    return _("Step lengths were not measured.")
