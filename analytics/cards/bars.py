"""Small drawings of a season as whole numbers: ranges and weeks, 1000 units across."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.utils.translation import gettext as _

from analytics.answers import words

WEEK_DAYS = 7
_LABEL_X = 170  # left of it stands what a range is of
_RIGHT = 860  # right of it its figure stands, on a phone "10 cm" in 130 units
_HEIGHT = 150
_ROOM = 34  # above the bars, for the count
_DAYS_SHOWN = 4


@dataclass(frozen=True, slots=True)
class Range:
    """A figure with its range, from 0 on the left."""

    name: str
    low_x: int
    x: int
    high_x: int
    label: str


@dataclass(frozen=True, slots=True)
class Ranges:
    """Figures with their ranges on one scale."""

    zero_x: int
    ranges: tuple[Range, ...]


@dataclass(frozen=True, slots=True)
class Beside:
    """An athlete's own figure and the drawn one, beside what is usual in the squad."""

    zero_x: int
    usual_x: int | None
    ranges: tuple[Range, ...]


@dataclass(frozen=True, slots=True)
class Bar:
    """One week; the count stands at the first of the fullest ones."""

    x: int
    y: int
    width: int
    height: int
    label: str
    middle_x: int


@dataclass(frozen=True, slots=True)
class DayLabel:
    """The first day of a week."""

    x: int
    label: str


@dataclass(frozen=True, slots=True)
class Weeks:
    """Counts of weeks."""

    height: int
    bars: tuple[Bar, ...]
    days: tuple[DayLabel, ...]


def draw_ranges(change: Mapping[str, Any]) -> Ranges | None:
    """Draw the spread at both ends of a season; None where it is not known."""
    if "sd_first_m" not in change:
        return None
    ends = [
        (name, change[f"sd_{end}_m"], change[f"sd_{end}_interval"])
        for end, name in (("first", _("Start")), ("last", _("End")))
    ]
    most_m: float = max(interval["high"] for _name, _sd_m, interval in ends)

    def across(distance_m: float) -> int:
        return round(_LABEL_X + (_RIGHT - _LABEL_X) * distance_m / most_m)

    return Ranges(
        zero_x=_LABEL_X,
        ranges=tuple(
            Range(
                name=name,
                low_x=across(interval["low"]),
                x=across(sd_m),
                high_x=across(interval["high"]),
                label=words.centimetres(sd_m),
            )
            for name, sd_m, interval in ends
        ),
    )


def draw_beside(
    own: Mapping[str, Any] | None,
    drawn: Mapping[str, Any] | None,
    *,
    usual_m: float | None,
    most_m: float,
) -> Beside | None:
    """Draw an own spread above the drawn one, from 0 to `most_m`; None where neither is known."""

    def across(distance_m: float) -> int:
        return round(_LABEL_X + (_RIGHT - _LABEL_X) * distance_m / most_m)

    known = []
    if own is not None:
        known.append((_("Own"), own["sd_low_m"], own["sd_m"], own["sd_high_m"]))
    if drawn is not None:
        known.append((_("Drawn"), drawn["low"], drawn["value"], drawn["high"]))
    if not known or most_m <= 0:
        return None
    return Beside(
        zero_x=_LABEL_X,
        usual_x=None if usual_m is None else across(usual_m),
        ranges=tuple(
            Range(
                name=name,
                low_x=across(low_m),
                x=across(value_m),
                high_x=across(high_m),
                label=words.centimetres(value_m),
            )
            for name, low_m, value_m, high_m in known
        ),
    )


def draw_weeks(counts: Sequence[int], first_date: date) -> Weeks | None:
    """Draw how many jumps each week had; None where none had any."""
    if not any(counts):
        return None
    step = 1000 / len(counts)
    most = max(counts)
    every = max(len(counts) // _DAYS_SHOWN, 1)
    return Weeks(
        height=_HEIGHT,
        bars=tuple(
            Bar(
                x=round(place * step),
                y=_HEIGHT - round((_HEIGHT - _ROOM) * count / most),
                width=max(round(0.8 * step), 1),
                height=round((_HEIGHT - _ROOM) * count / most),
                label=words.number(most) if place == counts.index(most) else "",
                middle_x=round((place + 0.4) * step),
            )
            for place, count in enumerate(counts)
        ),
        days=tuple(
            DayLabel(
                x=round(place * step), label=words.day(first_date + timedelta(WEEK_DAYS * place))
            )
            # The last one would reach beyond the edge.
            for place in range(0, len(counts) - every // 2, every)
        ),
    )
