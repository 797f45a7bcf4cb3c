"""Speed into the board, from gate to gate."""

import numpy as np
from django.utils.translation import gettext as _
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection

from analytics.answers import words
from analytics.answers.speed import Speed, mps
from analytics.answers.told import Told
from analytics.charts import basis
from analytics.charts.sheet import Entry, Sheet, label_ticks, rule
from analytics.core.board_gain import BoardGain, GainAnswer, MeanSpeed
from analytics.core.conventions import FloatArray, NotEnoughAttempts
from analytics.selectors import RunUps

# Ends of the two zones, metres before the line.
_ZONES = ((11.0, 6.0), (6.0, 1.0))
_LEAST_SPAN_MPS = 1.0
# A gate that was passed too early or too late makes speeds that nobody runs: left at the edge.
_SDS_SHOWN = 6.0


def draw(sheet: Sheet, run_ups: RunUps, found: Speed, said: Told) -> None:
    """Draw each attempt between its gates, and the mean of both zones over it."""
    title = _("Speed into the board")
    gain = found.gain
    zones = (found.speed_11_6, found.speed_6_1)
    if isinstance(gain, NotEnoughAttempts) or any(
        isinstance(each, NotEnoughAttempts) for each in zones
    ):
        sheet.words_only(title, said.text, caution=said.caution or "")
        return
    colours = sheet.colours
    sheet.head(title, _headline(gain), said=basis.said_and_cautioned(said))
    sheet.foot(
        _("Mean speed in each zone with its 95% interval."),
        basis.said_of(run_ups, sheet),
        basis.short_caution(said),
    )
    sheet.key(
        Entry(_("mean of a zone"), colours.main, line="-"),
        Entry(_("one attempt"), colours.soft, line="-"),
        Entry(_("gate"), colours.soft, line=":"),
    )
    axes = sheet.panel(left=44, up=_("speed, m/s"), along=_("metres to the take-off line"))
    known = [each for each in zones if isinstance(each, MeanSpeed)]
    segments = _segments(run_ups)
    low, high = _limits(known, segments)
    farthest = max(11.0, float(segments[:, 0, 0].max()) if len(segments) else 11.0)
    axes.set_xlim(min(farthest, 40.0) + 0.4, -0.4)
    axes.set_ylim(low, high)
    rule(axes, sheet, label_ticks(axes, "y", low, high))
    label_ticks(axes, "x", 0, min(farthest, 40.0), about=5)
    _gates(sheet, axes, run_ups)
    axes.axvline(0, color=colours.ink, linewidth=2.2)
    shown = segments.copy()
    shown[:, :, 1] = np.clip(shown[:, :, 1], low, high)
    # Many attempts lie upon each other: thin lines add up to a shade.
    axes.add_collection(
        LineCollection(
            list(shown), colors=colours.soft, linewidths=0.8, alpha=0.55 if len(shown) > 40 else 0.8
        )
    )
    for (begins, ends), zone in zip(_ZONES, known, strict=True):
        axes.fill_between(
            [begins, ends],
            max(zone.interval.low, low),
            min(zone.interval.high, high),
            color=colours.band,
            linewidth=0,
            alpha=0.8,
        )
        axes.plot([begins, ends], [zone.mean_mps] * 2, color=colours.main, linewidth=3.2)
        sheet.note(
            axes,
            (begins + ends) / 2,
            zone.mean_mps,
            words.number(zone.mean_mps, 2),
            colour=colours.main,
            align="center",
            up="bottom",
            move=(0, -5),
            bold=True,
            on_paper=True,
        )


def _headline(gain: BoardGain) -> str:
    size = mps(abs(gain.gain_mps))
    if gain.answer is GainAnswer.LOSES:
        return _("Lost into the board: {size}.").format(size=size)
    if gain.answer is GainAnswer.GAINS:
        return _("Still gained into the board: {size}.").format(size=size)
    return _("Neither gain nor loss is shown.")


def _segments(run_ups: RunUps) -> FloatArray:
    """Return the mean speeds between neighbouring gates, shape (n, 2 ends, x and y)."""
    at, time = run_ups.gate_at_m, run_ups.gate_time_s
    if at.shape[1] < 2:
        return np.empty((0, 2, 2))
    begins, ends = at[:, :-1].ravel(), at[:, 1:].ravel()
    took = np.diff(time, axis=1).ravel()
    known = np.isfinite(begins) & np.isfinite(ends) & (took > 0) & (begins > ends)
    speed = (begins[known] - ends[known]) / took[known]
    return np.stack(
        [np.column_stack([begins[known], speed]), np.column_stack([ends[known], speed])], axis=1
    )


def _limits(zones: list[MeanSpeed], segments: FloatArray) -> tuple[float, float]:
    """Return the lowest and the highest speed that are drawn."""
    middle = float(np.mean([each.mean_mps for each in zones]))
    sd = max(*(each.attempt_sd_mps for each in zones), 0.1)
    near = segments[:, 0, 1]
    near = near[np.abs(near - middle) < max(_SDS_SHOWN * sd, 2.5)]
    ends = [each.mean_mps for each in zones]
    low, high = min([*near, *ends]) - 0.15, max([*near, *ends]) + 0.25
    missing = max(0.0, _LEAST_SPAN_MPS - (high - low)) / 2
    return max(low - missing, 0.0), high + missing


def _gates(sheet: Sheet, axes: Axes, run_ups: RunUps) -> None:
    """Mark where gates stood, those within a hand's breadth once."""
    places = run_ups.gate_at_m[np.isfinite(run_ups.gate_at_m)]
    for place in np.unique(places.round(1)):
        axes.axvline(place, color=sheet.colours.soft, linewidth=1.0, linestyle=":")
