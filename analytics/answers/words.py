"""Numbers as a reader writes them: whole centimetres, percent, the decimal mark of the language."""

from datetime import date

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from analytics.core.conventions import Interval


def number(value: float, decimals: int = 0) -> str:
    """Return a number with the decimal mark of the language that is in use."""
    rounded = round(value, decimals)
    # -0 would be read as a slip.
    return str(formats.number_format(rounded or 0.0, decimal_pos=decimals))


def halves(value: float) -> str:
    """Return a number of whole or half ones.

    >>> halves(99.0), halves(99.5)
    ('99', '99.5')
    """
    return number(value, 0 if float(value).is_integer() else 1)


def quarters(value: float) -> str:
    """Return a number of whole, half or quarter ones.

    >>> quarters(8.0), quarters(8.5), quarters(8.25)
    ('8', '8.5', '8.25')
    """
    return number(value, 2) if (4 * value) % 2 else halves(value)


def centimetres(metres_: float) -> str:
    """Return a length in whole centimetres, without its sign.

    >>> centimetres(-0.123)
    '12 cm'
    """
    size = abs(metres_)
    if 0 < size < 0.005:
        return _("less than 1 cm")
    return _("{number} cm").format(number=number(100 * size))


def height(metres_: float) -> str:
    """Return a growth to the half centimetre, at which heights are read.

    >>> height(0.0245)
    '2.5 cm'
    """
    return _("{number} cm").format(number=number(round(200 * metres_) / 2, 1))


def metres(value_m: float, decimals: int = 1) -> str:
    """Return a distance in metres."""
    return _("{number} m").format(number=number(value_m, decimals))


def percent(share: float) -> str:
    """Return a share in percent; what is next to nothing or to all is not called 0 or 100.

    >>> percent(0.234), percent(0.001), percent(0.999)
    ('23%', 'under 1%', 'over 99%')
    """
    if 0 < share < 0.01:
        return _("under 1%")
    if 0.99 < share < 1:
        return _("over 99%")
    return _("{number}%").format(number=number(100 * share))


def percents(interval: Interval) -> str:
    """Return the range of a share."""
    return _("{low} to {high}").format(
        low=percent(min(max(interval.low, 0.0), 1.0)),
        high=percent(min(max(interval.high, 0.0), 1.0)),
    )


def place(toe_m: float) -> str:
    """Return where a toe is, against the take-off line."""
    size = centimetres(toe_m)
    if toe_m < 0:
        return _("{size} beyond the line").format(size=size)
    return _("{size} behind the line").format(size=size)


def error(error_m: float) -> str:
    """Return how far a foot lands off its place, and on which side."""
    size = centimetres(error_m)
    if error_m < 0:
        return _("{size} too far toward the pit").format(size=size)
    return _("{size} short").format(size=size)


def attempts(n: int) -> str:
    return ngettext("{n} attempt", "{n} attempts", n).format(n=n)


def sessions(n: int) -> str:
    return ngettext("{n} session", "{n} sessions", n).format(n=n)


def steps(n: int) -> str:
    return ngettext("{n} step", "{n} steps", n).format(n=n)


def run_throughs(n: int) -> str:
    return ngettext("{n} run-through", "{n} run-throughs", n).format(n=n)


def jumps(n: int) -> str:
    return ngettext("{n} jump", "{n} jumps", n).format(n=n)


def day(value: date) -> str:
    """Return a day as it is written in the language that is in use."""
    return str(formats.date_format(value, "DATE_FORMAT"))
