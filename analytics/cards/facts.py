"""What stands on every paper: distances three ways, feet, days, names of the trade."""

from dataclasses import dataclass
from datetime import datetime, tzinfo
from math import ceil

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from analytics.answers import words
from analytics.core import tape
from analytics.selectors import Marks, RunUps, Title

# As a plan has them where it does not say so (common practice, no source).
_USUAL_CONTACTS = ("ball", "flat", "flat")


@dataclass(frozen=True, slots=True)
class Distance:
    """A distance from the take-off line as it is laid out: by tape, or in shoes."""

    metres: str
    feet: str
    shoes: str


def distance(distance_m: float, *, shoe_length_m: float | None) -> Distance:
    """Return a distance behind the line in metres, feet and inches, and the athlete's shoes.

    Beyond the line lies no tape: such a place is named in metres alone.
    """
    distance_m = round(distance_m, 2)
    if distance_m < 0:
        beyond = _("{distance} beyond the line").format(distance=words.metres(-distance_m, 2))
        return Distance(metres=beyond, feet="", shoes="")
    return Distance(
        metres=words.metres(distance_m, 2),
        feet=str(tape.feet_and_inches(distance_m)),
        shoes=_shoes(distance_m, shoe_length_m),
    )


def _shoes(distance_m: float, shoe_length_m: float | None) -> str:
    if shoe_length_m is None:
        return _("shoe length unknown")
    number = tape.shoe_lengths(distance_m, shoe_length_m=shoe_length_m)
    if number < 1:
        return _("under 1 shoe")
    return ngettext("{number} shoe", "{number} shoes", ceil(number)).format(
        number=words.halves(number)
    )


def foot_at(footfall: int, take_off_foot: str | None) -> str:
    """Return which foot comes down: the take-off foot at every even footfall."""
    is_take_off_foot = footfall % 2 == 0
    if take_off_foot is None:
        return _("Take-off foot") if is_take_off_foot else _("Other foot")
    is_left = (take_off_foot == "left") == is_take_off_foot
    return _("Left foot") if is_left else _("Right foot")


def planned_contacts(marks: Marks) -> tuple[str, ...]:
    """Return what the feet do at the last three footfalls, third-last to last."""
    names = {"ball": _("ball"), "flat": _("flat"), "heel": _("heel")}
    said = [names[each] for each in marks.last_contacts or _USUAL_CONTACTS]
    # A plan may name the last ones only.
    return (*[""] * (3 - len(said)), *said)


def event_name(event: str) -> str:
    return {"long_jump": _("Long jump"), "triple_jump": _("Triple jump")}[event]


def start_name(start_style: str) -> str:
    names = {
        "standing": _("Standing start"),
        "walk_in": _("Walk-in start"),
        "run_in": _("Run-in start"),
    }
    return names[start_style]


def day(moment_: datetime, *, zone: tzinfo) -> str:
    return str(formats.date_format(moment_.astimezone(zone), "DATE_FORMAT"))


def moment(moment_: datetime, *, zone: tzinfo) -> str:
    return str(formats.date_format(moment_.astimezone(zone), "DATETIME_FORMAT"))


def length_name(name: str) -> str:
    return {
        "short": _("Short run-up"),
        "medium": _("Medium run-up"),
        "full": _("Full run-up"),
    }[name]


def last_footfall_name(footfall: int) -> str:
    return (_("Take-off"), _("Penultimate"), _("Third-last"))[footfall]


def run_up_line(title: Title) -> str:
    """Return which run-up of which athlete it is, in codes and words."""
    return " · ".join(
        [
            title.athlete_code,
            title.approach_code,
            event_name(title.event),
            words.steps(title.steps),
            start_name(title.start_style),
        ]
    )


def basis(run_ups: RunUps, *, zone: tzinfo) -> str:
    """Say from which attempts the figures come."""
    if not run_ups.ids:
        return _("No attempts so far: nothing here is learned from this athlete's jumps.")
    return _("Worked out from {attempts} in {sessions}, the last on {day}; as of {moment}.").format(
        attempts=words.attempts(len(run_ups)),
        sessions=words.sessions(len(set(run_ups.session_ids))),
        day=day(run_ups.started_at[-1], zone=zone),
        moment=moment(max(run_ups.changed_at), zone=zone),
    )


def measured_from_the_line() -> str:
    return _(
        "All distances are measured from the take-off line: the edge of the board nearest to the "
        "pit."
    )


def language_of_words() -> str:
    """Return the language that the words are in; numbers may follow another reader's."""
    # The code of the language: a catalogue translates it into its own.
    return _("en")
