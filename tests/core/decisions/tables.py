"""A table of shares: rows of one setting each, measured on simulated athletes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One setting.

    Attributes
    ----------
    setting
        The cells that say who jumps how often, and what is true.
    measure
        Returns one number for each measured column.
    """

    setting: tuple[str, ...]
    measure: Callable[[], Sequence[float]]


@dataclass(frozen=True)
class Table:
    """A table of the page.

    Attributes
    ----------
    title, text
        What stands above it.
    settings, columns
        Headings of the settings and of the measured numbers.
    rows
        In their order.
    """

    title: str
    text: str
    settings: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
