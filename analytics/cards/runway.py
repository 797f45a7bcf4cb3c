"""The last metres of the runway beside a tape, as whole numbers: the pit is at the top.

Across, 1000 units are the width of the drawing; one scale holds for every length of the run-up.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from analytics.answers import words
from analytics.answers.last_steps_layout import Landed, MarkersAt
from analytics.cards import facts
from analytics.cards.drawings import BOARD_M, DRAWN_SHOE_M
from analytics.selectors import Title

HEIGHT = 780
_TAPE_X = 110
_BEYOND_M = 0.25
_SHOE_WIDTH = 26
_FOOT_ASIDE = 20  # of a foot from the middle of the run
_TICKS_PER_M = 10
_LETTER = 20  # how high a label is, about


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark of the tape; whole and half metres have a label."""

    x: int  # where it begins; it ends at the tape
    y: int
    label: str
    label_y: int


@dataclass(frozen=True, slots=True)
class Lands:
    """Where a toe lands: mean, and mean ± SD."""

    x: int
    y: int
    top_y: int
    bottom_y: int


@dataclass(frozen=True, slots=True)
class Marker:
    """A marker, its toe at `y`."""

    x: int
    y: int
    width: int
    height: int
    label: str
    label_x: int
    label_y: int
    lands: Lands | None


@dataclass(frozen=True, slots=True)
class Column:
    """One length of the run-up."""

    name_x: int  # the middle of its name
    name: str
    markers: tuple[Marker, ...]


@dataclass(frozen=True, slots=True)
class Runway:
    """The drawing."""

    height: int
    tape_x: int
    label_x: int  # where the labels of the tape end
    line_y: int
    board_width: int
    board_height: int
    ticks: tuple[Tick, ...]
    columns: tuple[Column, ...]


def draw(
    lengths: Sequence[MarkersAt], *, title: Title, shoe_length_m: float | None
) -> Runway | None:
    """Draw the markers of each length in a column; None where there is none."""
    if not lengths:
        return None
    shoe_m = shoe_length_m or DRAWN_SHOE_M
    far_m = max(marker.place.at_m for each in lengths for marker in each.markers) + shoe_m + 0.1

    def down(distance_m: float) -> int:
        return round(HEIGHT * (distance_m + _BEYOND_M) / (far_m + _BEYOND_M))

    def column(place: int, at: MarkersAt) -> Column:
        width = (1000 - _TAPE_X) / len(lengths)
        left = _TAPE_X + width * place
        middle = round(left + 0.3 * width)  # labels are beside it, on the right
        markers = []
        for each in at.markers:
            aside = _FOOT_ASIDE if _is_right(each.footfall, title.take_off_foot) else -_FOOT_ASIDE
            toe_y = down(each.place.at_m)
            markers.append(
                Marker(
                    x=middle + aside - _SHOE_WIDTH // 2,
                    y=toe_y,
                    width=_SHOE_WIDTH,
                    height=down(each.place.at_m + shoe_m) - toe_y,
                    label=words.metres(each.place.at_m, 2),
                    label_x=middle + 3 * _FOOT_ASIDE,
                    label_y=toe_y + _LETTER,
                    lands=_lands(each.landed, middle - 3 * _FOOT_ASIDE, down)
                    if isinstance(each.landed, Landed)
                    else None,
                )
            )
        return Column(
            name_x=round(left + width / 2), name=facts.length_name(at.name), markers=tuple(markers)
        )

    return Runway(
        height=HEIGHT,
        tape_x=_TAPE_X,
        label_x=_TAPE_X - 32,
        board_width=1000 - _TAPE_X,
        line_y=down(0.0),
        board_height=down(BOARD_M) - down(0.0),
        ticks=tuple(_ticks(far_m, down)),
        columns=tuple(column(place, each) for place, each in enumerate(lengths)),
    )


def _is_right(footfall: int, take_off_foot: str | None) -> bool:
    """Return whether a foot is drawn on the right; of an unknown athlete the take-off foot is."""
    return (footfall % 2 == 0) == (take_off_foot != "left")


def _lands(landed: Landed, x: int, down: Callable[[float], int]) -> Lands:
    return Lands(
        x=x,
        y=down(landed.mean_m),
        top_y=down(landed.mean_m - landed.sd_m),
        bottom_y=down(landed.mean_m + landed.sd_m),
    )


def _ticks(far_m: float, down: Callable[[float], int]) -> Iterator[Tick]:
    for count in range(int(far_m * _TICKS_PER_M) + 1):
        at_m = count / _TICKS_PER_M
        is_half = count % (_TICKS_PER_M // 2) == 0
        yield Tick(
            x=_TAPE_X - (24 if is_half else 12),
            y=down(at_m),
            label=words.metres(at_m, 1) if is_half else "",
            label_y=down(at_m) + _LETTER // 2,
        )
