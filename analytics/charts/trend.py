"""The course of bias and spread after each attempt, with what was changed and what was found."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _
from matplotlib.axes import Axes

from analytics.answers import words
from analytics.charts import basis
from analytics.charts.sheet import SMALL, Entry, Sheet, label_ticks, marks, rule, text_width
from analytics.core.conventions import FloatArray
from analytics.models import AlertKind
from analytics.selectors import Point

# At least so much is shown to either side: a course of millimetres is none.
LEAST_SIDE_CM = 10.0
LEAST_SPREAD_CM = 10.0
# A single wild window leaves the picture at its edge, and the others large enough to be read.
FARTHEST_SDS = 3.0
_ABOUT_SPREAD = frozenset({AlertKind.SPREAD.value, AlertKind.PROGRESS.value})


@dataclass(frozen=True, slots=True)
class Opened:
    """An alert that was opened at an attempt."""

    attempt: str
    kind: str


@dataclass(frozen=True, slots=True)
class Course:
    """What is drawn of a trend: its points in order, the alerts opened at them.

    Attributes
    ----------
    aim_m
        The aim of the latest window; None where there is none.
    window
        How many attempts a point looks back over, at most.
    """

    points: Sequence[Point]
    opened: Sequence[Opened]
    aim_m: float | None
    window: int
    is_stale: bool = False


def tell(course: Course) -> str:
    """Say where the toe lands now, how much it spreads, and how that was at the beginning."""
    known = [
        each for each in course.points if each.bias_m is not None and each.spread_m is not None
    ]
    if not known:
        return _("Not enough attempts yet to follow how the toe meets the board.")
    last = known[-1]
    text = _("On the mean of {attempts} the toe lands {bias} now; it spreads by {spread}.").format(
        attempts=words.attempts(last.n),
        bias=_bias(float(last.bias_m or 0.0)),
        spread=words.centimetres(float(last.spread_m or 0.0)),
    )
    if len(known) == 1:
        return text
    first = known[0]
    before = _("At the beginning of the picture it was {bias}, with a spread of {spread}.").format(
        bias=_bias(float(first.bias_m or 0.0)),
        spread=words.centimetres(float(first.spread_m or 0.0)),
    )
    return f"{text} {before}"


def _bias(bias_m: float) -> str:
    if abs(bias_m) < 0.005:
        return _("on the aim")
    size = words.centimetres(bias_m)
    if bias_m > 0:
        return _("{size} short of the aim").format(size=size)
    return _("{size} past the aim, toward the pit").format(size=size)


def draw(sheet: Sheet, course: Course) -> None:
    """Draw bias above and spread below, the latest attempt at the right."""
    title = _("Bias and spread at the board, attempt by attempt")
    said = tell(course)
    bias, spread = (_column(course.points, name) for name in ("bias_m", "spread_m"))
    if not (np.isfinite(bias).any() and np.isfinite(spread).any()):
        sheet.words_only(title, said)
        return
    sheet.head(title, _headline(bias, spread), said=said)
    sheet.foot(
        _(
            "Each point looks back over up to {n} attempts of one plan; shaded: 95% interval."
        ).format(n=words.number(course.window)),
        _("{attempts}, {days}.").format(
            attempts=words.attempts(len(course.points)),
            days=basis.days([each.started_at for each in course.points], sheet),
        ),
        _("Newer attempts wait to be computed.") if course.is_stale else "",
    )
    _key(sheet, course)
    upper = sheet.panel(left=44, up=_("bias, cm"), part=(0.0, 0.52))
    lower = sheet.panel(
        left=44, up=_("spread, cm"), along=_("attempt, oldest first"), part=(0.52, 1.0)
    )
    _draw_bias(sheet, upper, course, 100 * bias)
    _draw_spread(sheet, lower, course, 100 * spread)
    n = len(course.points)
    for axes in (upper, lower):
        axes.set_xlim(0.5 - 0.02 * n, n + 0.5 + 0.02 * n)
        _plans(sheet, axes, course.points, named=axes is upper)
    upper.set_xticks([])
    _name_days(sheet, lower, course.points)


def _name_days(sheet: Sheet, axes: Axes, points: Sequence[Point]) -> None:
    """Write some of the days below, each once."""
    n = len(points)
    named: dict[str, int] = {}
    for place in np.linspace(1, n, min(n, 3 if sheet.is_small else 6)).round().astype(int):
        named.setdefault(basis.day(points[place - 1].started_at, sheet), int(place))
    axes.set_xticks(list(named.values()), list(named))
    for label, place in zip(axes.get_xticklabels(), named.values(), strict=True):
        if n > 1 and place in {1, n}:  # no word reaches beyond the panel
            label.set_horizontalalignment("left" if place == 1 else "right")


def _column(points: Sequence[Point], name: str) -> FloatArray:
    return np.array([getattr(each, name) for each in points], dtype=np.float64)


def _headline(bias: FloatArray, spread: FloatArray) -> str:
    return _("Now {bias}, spread {spread}.").format(
        bias=_bias(float(bias[np.isfinite(bias)][-1])),
        spread=words.centimetres(float(spread[np.isfinite(spread)][-1])),
    )


def _key(sheet: Sheet, course: Course) -> None:
    colours = sheet.colours
    entries = []
    if course.aim_m is not None:
        entries.append(Entry(_("take-off line"), colours.alarm, line=(0, (5, 2))))
    if _changes(course.points):
        entries.append(Entry(_("new plan"), colours.soft, line=":"))
    if course.opened:
        entries.append(Entry(_("alert opened"), colours.second, mark="v"))
    if entries:
        sheet.key(*entries)


def _draw_bias(sheet: Sheet, axes: Axes, course: Course, bias: FloatArray) -> None:
    colours = sheet.colours
    low, high = (100 * _column(course.points, name) for name in ("bias_low_m", "bias_high_m"))
    side = _reach(bias, low, high, least=LEAST_SIDE_CM)
    axes.set_ylim(-side, side)
    rule(axes, sheet, label_ticks(axes, "y", -side, side, unsigned=True))
    axes.axhline(0, color=colours.ink, linewidth=1)
    _band(sheet, axes, course, (bias, low, high), limits=(-side, side), is_main=True)
    if course.aim_m is not None and 100 * course.aim_m < side:
        axes.axhline(-100 * course.aim_m, color=colours.alarm, linewidth=1.4, linestyle=(0, (5, 2)))
    for place, text in ((1.0, _("short of the aim")), (0.0, _("past the aim, toward the pit"))):
        sheet.note(
            axes,
            0.01,
            place,
            text,
            colour=colours.soft,
            up="top" if place else "bottom",
            across=True,
            down=True,
            on_paper=True,
        )
    _alerts(sheet, axes, course, about_spread=False)


def _draw_spread(sheet: Sheet, axes: Axes, course: Course, spread: FloatArray) -> None:
    low, high = (100 * _column(course.points, name) for name in ("spread_low_m", "spread_high_m"))
    top = _reach(spread, low, high, least=LEAST_SPREAD_CM)
    axes.set_ylim(0, top)
    rule(axes, sheet, label_ticks(axes, "y", 0, top, about=3))
    _band(sheet, axes, course, (spread, low, high), limits=(0.0, top), is_main=False)
    _alerts(sheet, axes, course, about_spread=True)


def _reach(values: FloatArray, low: FloatArray, high: FloatArray, *, least: float) -> float:
    """Return how far from 0 a panel reaches: all of the course that is not a wild exception."""
    sizes = np.abs(values[np.isfinite(values)])
    middle = float(np.median(sizes))
    usual = middle + FARTHEST_SDS * 1.4826 * float(np.median(np.abs(sizes - middle)))
    course = min(float(sizes.max()), max(1.5 * usual, 3 * least))
    ends = np.abs(np.concatenate([low, high]))
    ends = ends[np.isfinite(ends)]
    # Bands of the first few attempts are far wider than what they stand around.
    band = float(np.quantile(ends, 0.9)) if ends.size else 0.0
    return 1.15 * max(least, course, min(band, 2.5 * max(course, least)))


def _band(
    sheet: Sheet,
    axes: Axes,
    course: Course,
    columns: tuple[FloatArray, FloatArray, FloatArray],
    *,
    limits: tuple[float, float],
    is_main: bool,
) -> None:
    """Draw a figure with its interval; what lies beyond the limits is marked at the edge."""
    colours = sheet.colours
    shade = colours.band if is_main else colours.second_band
    stroke = colours.main if is_main else colours.second
    values = columns[0]
    # No window reaches over a new plan, so no line does.
    cuts = _changes(course.points)
    at, line, low, high = (
        np.insert(each, cuts, np.nan) for each in (np.arange(1.0, values.size + 1), *columns)
    )
    axes.fill_between(at, np.clip(low, *limits), np.clip(high, *limits), color=shade, linewidth=0)
    alone = values.size == 1
    axes.plot(
        at,
        np.clip(line, *limits),
        color=stroke,
        linewidth=2.2,
        linestyle="-" if is_main else (0, (5, 1)),
    )
    last = int(np.flatnonzero(np.isfinite(values))[-1])
    for beyond, edge, mark in (
        (values > limits[1], limits[1], "^"),
        (values < limits[0], limits[0], "v"),
    ):
        places = np.flatnonzero(beyond)
        if places.size:
            axes.plot(
                places + 1,
                np.full(places.size, edge),
                linestyle="none",
                clip_on=False,
                **marks(sheet, mark, stroke, filled=False),
            )
    axes.plot(
        [last + 1],
        [float(np.clip(values[last], *limits))],
        linestyle="none",
        clip_on=False,
        **marks(sheet, "o" if is_main else "s", stroke, size=8 if alone else 6.5),
    )


def _changes(points: Sequence[Point]) -> list[int]:
    """Return the places at which another plan began to hold."""
    return [
        place
        for place in range(1, len(points))
        if points[place].plan_revision != points[place - 1].plan_revision
    ]


def _plans(sheet: Sheet, axes: Axes, points: Sequence[Point], *, named: bool) -> None:
    changes = _changes(points)
    room = (sheet.width - 58) / max(len(points), 1)
    free_from = 0.0
    for place in changes:
        axes.axvline(place + 0.5, color=sheet.colours.soft, linewidth=1.2, linestyle=":")
        name = _("plan {revision}").format(revision=points[place].plan_revision or 0)
        width = text_width(name, SMALL)
        if named and place * room >= free_from and place * room + width < sheet.width - 60:
            sheet.note(
                axes,
                place + 0.5,
                1.0,
                name,
                colour=sheet.colours.soft,
                up="bottom",
                move=(2, -3),
                down=True,
            )
            free_from = place * room + width + 6


def _alerts(sheet: Sheet, axes: Axes, course: Course, *, about_spread: bool) -> None:
    places = {each.attempt: place + 1 for place, each in enumerate(course.points)}
    opened = [
        places[each.attempt]
        for each in course.opened
        if each.attempt in places and (each.kind in _ABOUT_SPREAD) == about_spread
    ]
    if opened:
        axes.plot(
            opened,
            [0.93] * len(opened),
            transform=axes.get_xaxis_transform(),
            linestyle="none",
            **marks(sheet, "v", sheet.colours.second, size=8),
        )
