"""How a picture is wanted: on what, how wide, for whom; and the colours that go with it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo
from enum import StrEnum


class Look(StrEnum):
    """What a picture is looked at on."""

    LIGHT = "light"
    DARK = "dark"
    PRINT = "print"


class Width(StrEnum):
    """How much room there is: a phone held upright, or a page."""

    SMALL = "small"
    LARGE = "large"


class Form(StrEnum):
    """What a picture is written as: its media type."""

    SVG = "image/svg+xml"
    PNG = "image/png"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a reader asked for.

    Attributes
    ----------
    zone
        Where the reader is: days are those of there.
    """

    look: Look
    width: Width
    form: Form
    zone: tzinfo


@dataclass(frozen=True, slots=True)
class Colours:
    """The colours of a look. No picture says anything by colour alone: marks and lines differ.

    Attributes
    ----------
    paper, ink, soft, rule
        The ground; what is to be read first, and second; thin lines.
    main, second, alarm
        What a picture is about, what stands beside it, and what went wrong.
    band, second_band
        The range around what is about, and around what stands beside it.
    board
        The take-off board.
    """

    paper: str
    ink: str
    soft: str
    rule: str
    main: str
    second: str
    alarm: str
    band: str
    second_band: str
    board: str


COLOURS: Mapping[Look, Colours] = {
    Look.LIGHT: Colours(
        paper="#ffffff",
        ink="#17212b",
        soft="#4c5a67",
        rule="#c9d1d8",
        main="#0b5fa5",
        second="#c25700",
        alarm="#b3124a",
        band="#cfe2f2",
        second_band="#f8dcc4",
        board="#e9e4d8",
    ),
    Look.DARK: Colours(
        paper="#12171c",
        ink="#eef2f5",
        soft="#aab6c1",
        rule="#3a4550",
        main="#6cb6f2",
        second="#f0a35e",
        alarm="#ff7f9e",
        band="#22435d",
        second_band="#54391f",
        board="#37352e",
    ),
    # Black on white: what is printed is copied, and copied again.
    Look.PRINT: Colours(
        paper="#ffffff",
        ink="#000000",
        soft="#3c3c3c",
        rule="#bdbdbd",
        main="#000000",
        second="#6a6a6a",
        alarm="#000000",
        band="#dcdcdc",
        second_band="#ededed",
        board="#e4e4e4",
    ),
}
