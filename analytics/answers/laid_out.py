"""A run-up as a coach lays it out: places in metres, feet and shoe lengths, and which foot."""

from collections.abc import Mapping
from dataclasses import dataclass

from analytics.core import run_up_pace, tape
from analytics.core.conventions import Interval
from analytics.core.run_up_design import CheckMark, RunUpDesign
from analytics.core.run_up_pace import Pace

NAMES = ("short", "medium", "full")
_OTHER: Mapping[str, str] = {"left": "right", "right": "left"}
# The standard zones before the line, metres.
ZONES_M = ((11.0, 6.0), (6.0, 1.0))


@dataclass(frozen=True, slots=True)
class Place:
    """Where something lies, from the take-off line, in the units of tape and shoe.

    Attributes
    ----------
    inches
        To the quarter.
    shoe_lengths
        Of the athlete's shoe, to the half; None where its length is not known.
    """

    at_m: float
    feet: int
    inches: float
    shoe_lengths: float | None


@dataclass(frozen=True, slots=True)
class PlacedCheckMark:
    """A mark beside the runway: which footfall meets it, and after how many steps."""

    footfall: int
    steps_after_start: int
    place: Place
    sd_m: float
    foot: str | None


@dataclass(frozen=True, slots=True)
class PlacedFootfall:
    """One contact; length, time and speed are those of the step that ends there."""

    footfall: int
    at_m: float
    sd_m: float
    foot: str | None
    step_m: float | None
    step_time_s: float | None
    speed_mps: float | None


@dataclass(frozen=True, slots=True)
class PlacedPhase:
    """Acceleration, transition or attack: its steps, and where it begins and ends."""

    phase: str
    from_footfall: int
    to_footfall: int
    steps: int
    from_m: float
    to_m: float


@dataclass(frozen=True, slots=True)
class LaidOut:
    """A run-up on the runway.

    Attributes
    ----------
    name
        Short, medium or full.
    start_foot
        That stands on the start mark; None where the take-off foot is not known.
    check_marks, footfalls
        In the order in which they are passed.
    phases
        Empty where the run-up is too short for them.
    last_three
        Ground markers for the third-last, the penultimate and the take-off foot.
    speed_11_6_mps, speed_6_1_mps
        None where the run-up begins nearer.
    """

    name: str
    steps: int
    start_mark: Place
    start_mark_interval: Interval
    start_foot: str | None
    check_marks: tuple[PlacedCheckMark, ...]
    phases: tuple[PlacedPhase, ...]
    footfalls: tuple[PlacedFootfall, ...]
    last_three: tuple[Place, ...]
    board_speed_mps: float
    speed_11_6_mps: float | None
    speed_6_1_mps: float | None


def place_of(at_m: float, *, shoe_length_m: float | None) -> Place:
    """Return a place, to the centimetre.

    One beyond the line has no tape that begins there: its sign is given with the feet.
    """
    at_m = round(float(at_m), 2)
    size = tape.feet_and_inches(abs(at_m))
    sign = -1 if at_m < 0 else 1
    shoes = None
    if shoe_length_m is not None:
        shoes = sign * tape.shoe_lengths(abs(at_m), shoe_length_m=shoe_length_m)
    return Place(
        at_m=at_m, feet=sign * size.feet, inches=sign * float(size.inches), shoe_lengths=shoes
    )


def foot_of(footfall: int, take_off_foot: str | None) -> str | None:
    """Return which foot makes a footfall: the take-off foot those of even numbers."""
    if take_off_foot is None:
        return None
    return take_off_foot if footfall % 2 == 0 else _OTHER[take_off_foot]


def names_of(lengths: int) -> tuple[str, ...]:
    """Return the names of so many run-ups, the shortest first.

    >>> names_of(3), names_of(2), names_of(1)
    (('short', 'medium', 'full'), ('short', 'full'), ('full',))
    """
    return NAMES if lengths == 3 else ("short", "full")[2 - lengths :]


def lay_out(
    name: str,
    design: RunUpDesign,
    pace: Pace,
    *,
    take_off_foot: str | None,
    shoe_length_m: float | None,
) -> LaidOut:
    """Return a designed run-up in the words of whoever lays it out."""
    n = design.settings.steps
    run_m = float(design.toe_m[-1])
    zones = [
        None
        if far_m > run_m
        else run_up_pace.mean_speed(pace, from_run_m=run_m - far_m, to_run_m=run_m - near_m)
        for far_m, near_m in ZONES_M
    ]
    return LaidOut(
        name=name,
        steps=n,
        start_mark=place_of(design.start_mark_m, shoe_length_m=shoe_length_m),
        start_mark_interval=design.start_mark_interval,
        start_foot=foot_of(n, take_off_foot),
        check_marks=tuple(
            _placed(mark, steps=n, take_off_foot=take_off_foot, shoe_length_m=shoe_length_m)
            for mark in design.check_marks
        ),
        phases=_phases(design),
        footfalls=tuple(
            _footfall(design, k, take_off_foot=take_off_foot) for k in range(n, -1, -1)
        ),
        last_three=tuple(
            place_of(at_m, shoe_length_m=shoe_length_m) for at_m in design.last_three_m
        ),
        board_speed_mps=design.board_speed_mps,
        speed_11_6_mps=zones[0],
        speed_6_1_mps=zones[1],
    )


def _placed(
    mark: CheckMark, *, steps: int, take_off_foot: str | None, shoe_length_m: float | None
) -> PlacedCheckMark:
    return PlacedCheckMark(
        footfall=mark.footfall,
        steps_after_start=steps - mark.footfall,
        place=place_of(mark.at_m, shoe_length_m=shoe_length_m),
        sd_m=mark.sd_m,
        foot=foot_of(mark.footfall, take_off_foot),
    )


def _footfall(design: RunUpDesign, k: int, *, take_off_foot: str | None) -> PlacedFootfall:
    # Step k + 1 begins at footfall k + 1 and ends here; none ends at the start mark.
    begins = k < design.settings.steps
    return PlacedFootfall(
        footfall=k,
        at_m=round(float(design.toe_m[k]), 2),
        sd_m=float(design.sd_m[k]),
        foot=foot_of(k, take_off_foot),
        step_m=float(design.step_m[k]) if begins else None,
        step_time_s=float(design.step_time_s[k]) if begins else None,
        speed_mps=float(design.speed_mps[k]) if begins else None,
    )


def _phases(design: RunUpDesign) -> tuple[PlacedPhase, ...]:
    starts = design.phase_starts
    if starts is None:
        return ()
    ends = (design.settings.steps, starts.transition, starts.attack, 0)
    return tuple(
        PlacedPhase(
            phase=phase,
            from_footfall=ends[i],
            to_footfall=ends[i + 1],
            steps=ends[i] - ends[i + 1],
            from_m=round(float(design.toe_m[ends[i]]), 2),
            to_m=round(float(design.toe_m[ends[i + 1]]), 2),
        )
        for i, phase in enumerate(("acceleration", "transition", "attack"))
    )
