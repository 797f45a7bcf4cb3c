"""Needed and made: how much of what is off each step takes back."""

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import told, words
from analytics.answers.steering import Steering
from analytics.answers.told import Told
from analytics.charts import basis
from analytics.charts.sheet import Entry, Sheet, marks
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.needed_made import NeededMade
from analytics.selectors import RunUps

# What lies farther from 0 and 1 is drawn at the edge: it is not known to that degree.
LEAST, MOST = -0.6, 1.6


def draw(sheet: Sheet, run_ups: RunUps, found: Steering, said: Told) -> None:
    """Draw the gain of each step with its interval, the last step at the right."""
    title = _("Needed and made: what each step takes back of what is off")
    gains = found.needed_and_made
    if isinstance(gains, NotEnoughAttempts):
        lacking = told.not_enough(
            gains, what=_("with a measured take-off toe and footfalls before it")
        )
        sheet.words_only(title, lacking.text)
        return
    if not np.isfinite(gains.gain).any():
        sheet.words_only(title, _("Nothing was off: the feet came down alike in each attempt."))
        return
    colours = sheet.colours
    shown = _shown(gains)
    sheet.head(title, _headline(gains, shown), said=said.text)
    sheet.foot(
        _("100% takes back all that is off, more is too much; below 0% makes it worse."),
        _("Lines: 95% intervals."),
        basis.said_of(run_ups, sheet),
    )
    sheet.key(
        Entry(_("shown to correct"), colours.main, mark="o"),
        Entry(_("not shown"), colours.soft, mark="o", filled=False),
    )
    axes = sheet.panel(
        left=52, up=_("share taken back"), along=_("step (1: the last before take-off)")
    )
    steps = np.arange(1, gains.gain.size + 1)
    known = np.isfinite(gains.gain)
    least = max(min(-0.2, float(np.nanmin(gains.gain_low)) - 0.05), LEAST)
    most = min(max(1.1, float(np.nanmax(gains.gain_high)) + 0.05), MOST)
    farthest = int(steps[known][-1])
    axes.set_xlim(max(farthest, 3) + 0.6, 0.4)
    axes.set_ylim(least, most)
    places = [0.0, 0.5, 1.0]
    axes.set_yticks(places, [words.percent(each) for each in places])
    every = 1 if farthest <= 10 else 2 if not sheet.is_small else 3
    numbers = list(range(1, max(farthest, 3) + 1, every))
    axes.set_xticks(numbers, [words.number(each) for each in numbers])
    axes.axhline(0, color=colours.ink, linewidth=1)
    axes.axhline(1, color=colours.ink, linewidth=1, linestyle=(0, (4, 3)))
    for is_shown in (False, True):
        those = known & (shown == is_shown)
        colour = colours.main if is_shown else colours.soft
        low = np.maximum(gains.gain_low[those], least)
        high = np.minimum(gains.gain_high[those], most)
        axes.vlines(
            steps[those],
            low,
            high,
            color=colour,
            linewidth=2.4 if is_shown else 1.4,
            linestyle="-" if is_shown else (0, (2, 1.5)),
        )
        axes.plot(
            steps[those],
            np.clip(gains.gain[those], least, most),
            linestyle="none",
            **marks(sheet, "o", colour, filled=is_shown, size=8 if is_shown else 5.5),
        )


def _shown(found: NeededMade) -> np.ndarray:
    return np.isfinite(found.gain_low) & (found.gain_low > 0)


def _headline(found: NeededMade, shown: np.ndarray) -> str:
    if not shown.any():
        return _("No step is shown to correct anything.")
    best = int(np.flatnonzero(shown)[np.argmax(found.gain[shown])])
    share = words.percent(min(float(found.gain[best]), 1.0))
    if best == 0:
        return _("The last step corrects most: {share}.").format(share=share)
    return _("Step {number} corrects most: {share}.").format(
        number=words.number(best + 1), share=share
    )
