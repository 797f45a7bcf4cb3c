"""Drawings of cards as whole numbers: a page and a sheet of paper draw the same from them.

Across, 1000 units are the width of the drawing; the runway leads from left to right, to the pit.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from analytics.answers import words
from analytics.selectors import CheckMark, Marks

WIDTH = 1000
BOARD_M = 0.20
# Of a shoe that nobody measured; only drawn, never told.
DRAWN_SHOE_M = 0.28
_EDGE = 18
_GAP = 8


@dataclass(frozen=True, slots=True)
class Tick:
    """A footfall; the take-off foot's are drawn on one side, the other foot's on the other."""

    x: int
    is_take_off_foot: bool


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a run-up."""

    x: int
    width: int
    look: str


@dataclass(frozen=True, slots=True)
class Flag:
    """A check mark."""

    x: int
    letter: str


@dataclass(frozen=True, slots=True)
class Strip:
    """The whole run-up."""

    start_x: int
    line_x: int
    parts: tuple[Part, ...]
    ticks: tuple[Tick, ...]  # empty where no footfall is planned
    flags: tuple[Flag, ...]


@dataclass(frozen=True, slots=True)
class Shoe:
    """A shoe on the ground, its toe at `x + width`, and how far that is from the line."""

    x: int
    width: int
    is_take_off_foot: bool
    label: str
    label_x: int
    is_label_before: bool  # the label ends there; else it begins there


@dataclass(frozen=True, slots=True)
class Metre:
    """A mark of a tape."""

    x: int
    label: str


@dataclass(frozen=True, slots=True)
class LastSteps:
    """The last footfalls before the take-off line, the board and a tape."""

    board_x: int
    board_width: int
    line_x: int
    shoes: tuple[Shoe, ...]
    metres: tuple[Metre, ...]


def letter(place: int) -> str:
    """Return what a check mark is called: A, B and so on; a run-up has fewer than 30.

    >>> letter(0), letter(25), letter(26)
    ('A', 'Z', 'AA')
    """
    times, rest = divmod(place, 26)
    return chr(ord("A") + rest) * (times + 1)


def strip(marks: Marks, *, steps: int, checks: Sequence[CheckMark]) -> Strip:
    """Draw a planned run-up: its phases, footfalls and check marks."""

    def across(distance_m: float) -> int:
        share = 1 - distance_m / marks.start_mark_m
        return round(_EDGE + share * (WIDTH - 2 * _EDGE))

    begins = [("acceleration", marks.start_mark_m)]
    for look, footfall in (
        ("transition", marks.transition_footfall),
        ("attack", marks.attack_footfall),
    ):
        if footfall:
            at_m = marks.planned_m(footfall)
            # Where nobody planned the footfall, about: steps are of one length then.
            begins.append((look, marks.start_mark_m * footfall / steps if at_m is None else at_m))
    ends = [*(at_m for _, at_m in begins[1:]), 0.0]
    planned = [] if marks.toe_m is None else list(enumerate(marks.toe_m.tolist()))
    return Strip(
        start_x=across(marks.start_mark_m),
        line_x=across(0.0),
        parts=tuple(
            Part(x=across(begin_m), width=max(across(end_m) - across(begin_m), 0), look=look)
            for (look, begin_m), end_m in zip(begins, ends, strict=True)
        ),
        ticks=tuple(
            Tick(x=min(max(across(toe_m), 0), WIDTH), is_take_off_foot=footfall % 2 == 0)
            for footfall, toe_m in planned
        ),
        flags=tuple(
            Flag(x=across(mark.at_m), letter=letter(place)) for place, mark in enumerate(checks)
        ),
    )


def last_toe_m(marks: Marks, footfall: int) -> float | None:
    """Return where the plan puts one of the last footfalls; the take-off foot meets the aim."""
    return marks.aim_m if footfall == 0 else marks.planned_m(footfall)


def last_lengths_m(marks: Marks) -> tuple[float, float, float] | None:
    """Return the planned lengths of the third-last, the penultimate and the last step.

    None where the plan does not say them, or puts a footfall nearer the pit than the one after it.
    """
    toes = [last_toe_m(marks, footfall) for footfall in range(4)]
    known = [each for each in toes if each is not None]
    if len(known) < 4 or not all(near < far for near, far in pairwise(known)):
        return None
    return known[3] - known[2], known[2] - known[1], known[1] - known[0]


def last_steps(marks: Marks, *, shoe_length_m: float | None) -> LastSteps | None:
    """Draw the last three footfalls to scale; None where the plan does not say where they are."""
    toes = {footfall: last_toe_m(marks, footfall) for footfall in (2, 1, 0)}
    planned = {footfall: toe_m for footfall, toe_m in toes.items() if toe_m is not None}
    if len(planned) < 3 or not planned[2] > planned[1] > planned[0]:
        return None
    shoe_m = shoe_length_m or DRAWN_SHOE_M
    far_m, near_m = planned[2] + shoe_m + 0.05, -0.25

    def across(distance_m: float) -> int:
        return round(WIDTH * (far_m - distance_m) / (far_m - near_m))

    def shoe(footfall: int, toe_m: float) -> Shoe:
        heel_x, toe_x = across(toe_m + shoe_m), across(toe_m)
        # Beside the board there is room on the near side only.
        is_before = toe_x > 0.8 * WIDTH
        return Shoe(
            x=heel_x,
            width=toe_x - heel_x,
            is_take_off_foot=footfall % 2 == 0,
            label=words.metres(toe_m, 2),
            label_x=heel_x - _GAP if is_before else toe_x + _GAP,
            is_label_before=is_before,
        )

    return LastSteps(
        board_x=across(BOARD_M),
        board_width=across(0.0) - across(BOARD_M),
        line_x=across(0.0),
        shoes=tuple(shoe(*each) for each in planned.items()),
        metres=tuple(
            Metre(x=across(float(metre)), label=words.metres(metre, 0))
            for metre in range(int(far_m) + 1)
        ),
    )
