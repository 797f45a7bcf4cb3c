"""The sheet that every picture is drawn on: its words, its panels, and how it is written.

Lengths are pixels of a screen, counted from the top left corner. Only the object interface of the
library is used; it is not thread safe, so one picture is drawn at a time.
"""

import io
import re
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import matplotlib
import numpy as np
from django.utils.translation import get_language
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator
from matplotlib.transforms import Affine2D
from matplotlib.typing import LineStyleType

from analytics.answers import words
from analytics.charts.looks import COLOURS, Colours, Form, Look, Wanted, Width

# Room on the sheet, in pixels. A phone held upright is 360 wide.
SIZES = {Width.SMALL: (360, 430), Width.LARGE: (760, 460)}
EDGE = 14
TITLE, TEXT, SMALL = 14.5, 12.5, 11.5
_LINE = 1.3
# A picture on a screen of fine pixels stays sharp.
PIXELS_PER_POINT = 2
_POINTS_PER_INCH = 72

matplotlib.rcParams.update(
    {
        "svg.fonttype": "none",  # text stays text: read aloud, searched, copied
        "svg.hashsalt": "penult",  # the same picture has the same bytes, and so the same tag
        "text.parse_math": False,  # a name with a dollar sign is a name
        "font.family": ["sans-serif"],
        # The first is there wherever the library is, and is as wide as any that may replace it.
        "font.sans-serif": ["DejaVu Sans", "Verdana", "Helvetica", "Arial"],
    }
)
_drawing = threading.Lock()
# A number and its unit stay on one line.
_before_unit = re.compile(r"(?<=\d) (?=(?:cm|m|m/s|s)\b)")


@dataclass(frozen=True, slots=True)
class Entry:
    """What a mark or a line of a picture stands for."""

    said: str
    colour: str
    mark: str = ""
    line: LineStyleType = ""
    filled: bool = True
    is_band: bool = False
    has_edge: bool = False
    hatch: str = ""


class Sheet:
    """One picture while it is drawn."""

    def __init__(self, wanted: Wanted) -> None:
        self.wanted = wanted
        self.width, self.height = SIZES[wanted.width]
        self.is_small = wanted.width is Width.SMALL
        self.colours: Colours = COLOURS[wanted.look]
        self._figure = Figure(
            figsize=(self.width / _POINTS_PER_INCH, self.height / _POINTS_PER_INCH),
            dpi=_POINTS_PER_INCH,
            facecolor=self.colours.paper,
        )
        self._pixels = (
            Affine2D().scale(1 / self.width, -1 / self.height).translate(0, 1)
            + self._figure.transFigure
        )
        self._top = float(EDGE)
        self._bottom = float(EDGE)
        self._title = self._said = ""

    def head(self, title: str, headline: str, *, said: str) -> None:
        """Write what the picture is of and what it tells; `said` is for who cannot see it."""
        self._title, self._said = title, said
        self._write_lines(title, TEXT, colour=self.colours.soft)
        for line in headline.split("\n"):
            self._write_lines(line, TITLE, colour=self.colours.ink, bold=True)
        self._top += 4

    def words_only(self, title: str, said: str, *, caution: str = "") -> None:
        """Say in words why there is no picture: empty axes would look like an answer."""
        self._title = title
        self._said = f"{said} {caution}".strip()
        self._write_lines(title, TEXT, colour=self.colours.soft)
        room = self.width - 4 * EDGE
        lines = wrapped(said, TITLE, room)
        height = len(lines) * TITLE * _LINE
        top = max(self._top + EDGE, (self.height - height) / 2)
        self._figure.add_artist(
            Rectangle(
                (EDGE, top - EDGE),
                self.width - 2 * EDGE,
                height + 2 * EDGE,
                transform=self._pixels,
                facecolor="none",
                edgecolor=self.colours.rule,
                linestyle="--",
            )
        )
        for place, line in enumerate(lines):
            self.write(2 * EDGE, top + (place + 0.8) * TITLE * _LINE, line, size=TITLE)

    def foot(self, *sentences: str) -> None:
        """Write below everything what the picture rests on."""
        lines = wrapped(" ".join(each for each in sentences if each), SMALL, self._room())
        self._bottom = EDGE + len(lines) * SMALL * _LINE
        top = self.height - self._bottom
        for place, line in enumerate(lines):
            self.write(
                EDGE,
                top + (place + 0.8) * SMALL * _LINE,
                line,
                size=SMALL,
                colour=self.colours.soft,
            )
        self._bottom += 4

    def key(self, *entries: Entry) -> None:
        """Write which mark stands for what, in as many lines as it takes."""
        left, line = float(EDGE), self._top + SMALL
        for entry in entries:
            sample = 26 if entry.line or entry.is_band else 18
            size = sample + text_width(entry.said, SMALL) + 14
            if left > EDGE and left + size > self.width - EDGE + 14:
                left, line = float(EDGE), line + SMALL * 1.5
            self._sample(left, line - 0.36 * SMALL, entry)
            self.write(left + sample, line, entry.said, size=SMALL)
            left += size
        self._top = line + 8

    def panel(
        self,
        *,
        left: float = 40,
        right: float = EDGE,
        up: str = "",
        along: str = "",
        part: tuple[float, float] = (0.0, 1.0),
    ) -> Axes:
        """Return axes in a part of what is left of the sheet, from 0 at its top to 1.

        `up` names the upright axis and stands above it, `along` the level one, below it.
        """
        room = self.height - self._top - self._bottom
        top = self._top + part[0] * room + (SMALL * 1.7 if up else 4)
        bottom = self._top + part[1] * room - (SMALL * 3.1 if along else SMALL * 1.9)
        axes = self._figure.add_axes(
            (
                left / self.width,
                1 - bottom / self.height,
                (self.width - left - right) / self.width,
                (bottom - top) / self.height,
            ),
            facecolor="none",
        )
        for side in ("top", "right", "left", "bottom"):
            axes.spines[side].set_visible(False)
        axes.tick_params(
            length=0, pad=4, labelsize=SMALL, labelcolor=self.colours.soft, color=self.colours.rule
        )
        axes.set_axisbelow(True)
        # Where the library's own title would stand, which no panel has, need not be found out.
        axes.set_title("", y=1.0)
        if up:
            self.write(EDGE, top - SMALL * 0.55, up, size=SMALL, colour=self.colours.soft)
        if along:
            self.write(
                (left + self.width - right) / 2,
                bottom + SMALL * 2.6,
                along,
                size=SMALL,
                colour=self.colours.soft,
                align="center",
            )
        return axes

    def write(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = TEXT,
        colour: str | None = None,
        bold: bool = False,
        align: str = "left",
    ) -> None:
        """Write a line whose baseline begins at a place of the sheet."""
        self._figure.text(
            x / self.width,
            1 - y / self.height,
            text,
            fontsize=size,
            color=colour or self.colours.ink,
            fontweight="bold" if bold else "normal",
            ha=align,
            va="baseline",
        )

    def note(
        self,
        axes: Axes,
        x: float,
        y: float,
        text: str,
        *,
        colour: str | None = None,
        align: str = "left",
        up: str = "center",
        move: tuple[float, float] = (0.0, 0.0),
        bold: bool = False,
        across: bool = False,
        down: bool = False,
        on_paper: bool = False,
        size: float = SMALL,
    ) -> None:
        """Write beside a place of a panel; with `across` x, with `down` y is a share of it.

        With `on_paper` nothing of the picture is seen through the words.
        """
        ground = {"facecolor": self.colours.paper, "edgecolor": "none", "pad": 1.5}
        systems: dict[tuple[bool, bool], Any] = {
            (False, False): "data",
            (True, False): axes.get_yaxis_transform(),
            (False, True): axes.get_xaxis_transform(),
            (True, True): "axes fraction",
        }
        axes.annotate(
            text,
            (x, y),
            xycoords=systems[across, down],
            xytext=(move[0], -move[1]),
            textcoords="offset points",
            fontsize=size,
            color=colour or self.colours.ink,
            fontweight="bold" if bold else "normal",
            ha=align,
            va=up,
            annotation_clip=False,
            bbox=ground if on_paper else None,
        )

    def written(self) -> bytes:
        """Return the picture in the form that was asked for."""
        if not self._title:
            raise ValueError("A picture says what it is of.")
        form = self.wanted.form
        return self._written_as_png() if form is Form.PNG else self._written_as_svg()

    def _written_as_png(self) -> bytes:
        kept = io.BytesIO()
        FigureCanvasAgg(self._figure)
        self._figure.savefig(
            kept,
            format="png",
            dpi=_POINTS_PER_INCH * PIXELS_PER_POINT,
            facecolor=self.colours.paper,
            metadata={"Title": self._title, "Description": self._said, "Software": "Penult"},
        )
        return kept.getvalue()

    def _written_as_svg(self) -> bytes:
        kept = io.StringIO()
        self._figure.set_canvas(FigureCanvasSVG(self._figure))
        self._figure.canvas.print_svg(  # type: ignore[attr-defined]  # the base class in the stubs
            kept, metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
        )
        drawn = kept.getvalue()
        # From the opening tag on: a picture within a page has no prologue.
        rest = drawn[drawn.index(">", drawn.index("<svg")) + 1 :]
        head = (
            '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
            f' width="{self.width}" height="{self.height}"'
            f' viewBox="0 0 {self.width} {self.height}" role="img"'
            f' aria-labelledby="title desc" xml:lang={quoteattr(get_language() or "en")}>'
            f'<title id="title">{escape(self._title)}</title>'
            f'<desc id="desc">{escape(self._said)}</desc>'
        )
        return (head + rest).encode()

    def _room(self) -> float:
        return self.width - 2 * EDGE

    def _write_lines(self, text: str, size: float, *, colour: str, bold: bool = False) -> None:
        for line in wrapped(text, size, self._room(), bold=bold):
            self._top += size * _LINE
            self.write(EDGE, self._top - 0.3 * size, line, size=size, colour=colour, bold=bold)

    def _sample(self, left: float, middle: float, entry: Entry) -> None:
        if entry.is_band:
            self._figure.add_artist(
                Rectangle(
                    (left, middle - 5),
                    20,
                    10,
                    transform=self._pixels,
                    facecolor=entry.colour,
                    edgecolor=self.colours.soft if entry.hatch or entry.has_edge else "none",
                    hatch=entry.hatch,
                    linewidth=0.5,
                )
            )
            return
        if entry.line:
            self._figure.add_artist(
                Line2D(
                    [left, left + 20],
                    [middle, middle],
                    transform=self._pixels,
                    color=entry.colour,
                    linestyle=entry.line,
                    linewidth=2,
                )
            )
        if entry.mark:
            self._figure.add_artist(
                Line2D(
                    [left + (10 if entry.line else 6)],
                    [middle],
                    transform=self._pixels,
                    color=entry.colour,
                    linestyle="none",
                    **marks(self, entry.mark, entry.colour, filled=entry.filled),
                )
            )


def painted(draw: Callable[[Sheet], None], wanted: Wanted) -> bytes:
    """Return what `draw` draws, written as it is wanted."""
    with _drawing:
        sheet = Sheet(wanted)
        draw(sheet)
        return sheet.written()


def marks(
    sheet: Sheet, mark: str, colour: str, *, filled: bool = True, size: float = 6.5
) -> dict[str, Any]:
    """Return how a mark is drawn: hollow ones show the paper."""
    return {
        "marker": mark,
        "markersize": size,
        "markerfacecolor": colour if filled else sheet.colours.paper,
        "markeredgecolor": colour,
        "markeredgewidth": 1.6,
    }


def is_for_paper(sheet: Sheet) -> bool:
    return sheet.wanted.look is Look.PRINT


def label_ticks(
    axes: Axes,
    side: str,
    low: float,
    high: float,
    *,
    about: int = 4,
    unsigned: bool = False,
    per_unit: float = 1.0,
) -> list[float]:
    """Put round numbers along an axis, with the reader's decimal mark, and return their places.

    With `unsigned`, what lies below 0 lies to the other side, which the picture names. `per_unit`
    is how many of what the axis is labelled in make one of its own.
    """
    places = MaxNLocator(nbins=about, steps=[1, 2, 5, 10]).tick_values(
        low * per_unit, high * per_unit
    )
    step = float(places[1] - places[0])
    decimals = max(0, int(np.ceil(-np.log10(step) - 1e-9)))
    slack = 1e-9 * (high - low)
    kept = [each for each in places if low - slack <= each / per_unit <= high + slack]
    said = [words.number(abs(each) if unsigned else each, decimals) for each in kept]
    at = [float(each) / per_unit for each in kept]
    axis = axes.xaxis if side == "x" else axes.yaxis
    axis.set_ticks(at, [each.replace("-", "−") for each in said])
    return at


def rule(axes: Axes, sheet: Sheet, at: Sequence[float], side: str = "y") -> None:
    """Draw thin lines through a panel at some places.

    They are one line with gaps: of each line of its own the library keeps far more than its ends.
    """
    if not at:
        return
    through = np.tile([0.0, 1.0, np.nan], len(at))
    places = np.repeat(at, 3)
    is_level = side == "y"
    axes.add_line(
        Line2D(
            through if is_level else places,
            places if is_level else through,
            transform=axes.get_yaxis_transform() if is_level else axes.get_xaxis_transform(),
            color=sheet.colours.rule,
            linewidth=0.7,
            zorder=0,
        )
    )


def wrapped(text: str, size: float, room: float, *, bold: bool = False) -> list[str]:
    """Return a text in lines that are no wider than the room; a longer word is broken.

    >>> wrapped("a b", 12, 1000)
    ['a b']
    """
    lines: list[str] = []
    for word in _before_unit.sub("\N{NO-BREAK SPACE}", text).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= room:
            lines[-1] = longer
            continue
        rest = word
        while text_width(rest, size, bold=bold) > room:
            fits = next(
                n
                for n in range(len(rest) - 1, 0, -1)
                if text_width(rest[:n], size, bold=bold) <= room
            )
            lines.append(rest[:fits])
            rest = rest[fits:]
        lines.append(rest)
    return lines


@lru_cache(maxsize=4000)
def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a text is, in pixels."""
    font = get_font(_font_file(bold=bold))
    font.set_size(size, _POINTS_PER_INCH)
    font.set_text(text, 0.0)
    return float(font.get_width_height()[0]) / 64


@lru_cache(maxsize=2)
def _font_file(*, bold: bool) -> str:
    return findfont(FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal"))
