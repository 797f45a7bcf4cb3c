"""The layout of ground markers for the last three footfalls, at each length, on one page."""

from dataclasses import dataclass
from datetime import tzinfo

from django.utils.translation import gettext as _

from analytics.answers import last_steps_layout, told, words
from analytics.answers.last_steps_layout import Landed, Layout, Marker, MarkersAt
from analytics.cards import facts, runway
from analytics.cards.facts import Distance
from analytics.cards.runway import Runway
from analytics.cards.sheet import Sheet
from analytics.core.conventions import NotEnoughAttempts
from analytics.selectors import RunUps, Title


@dataclass(frozen=True, slots=True)
class Row:
    """A marker, and where the foot really lands."""

    name: str
    foot: str
    at: Distance
    after_check_mark: str
    lands: str


@dataclass(frozen=True, slots=True)
class Length:
    """The markers of one length of the run-up."""

    name: str
    start: str
    check_mark: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class GroundMarkers(Sheet):
    """Everything on the sheet; `lengths` is empty where nothing is known."""

    template = "ground_markers"

    name: str
    run_up: str
    lengths: tuple[Length, ...]
    drawn: Runway | None
    note: str


def fill_in(title: Title, run_ups: RunUps, found: Layout, *, zone: tzinfo) -> GroundMarkers:
    """Return the sheet, its days as they are in a time zone."""
    shoe_m = run_ups.shoe_length_m
    return GroundMarkers(
        title=_("Ground markers: {name}, {approach}").format(
            name=title.name, approach=title.approach_code
        ),
        lang=facts.language_of_words(),
        labels={
            "heading": _("Ground markers for the last three footfalls"),
            "foot": _("Foot"),
            "metres": _("Metres"),
            "feet": _("Feet and inches"),
            "shoes": _("Shoe lengths"),
            "after": _("After the check mark"),
            "lands": _("Where the foot lands (mean ± SD)"),
            "drawing": _(
                "The markers of each length beside one tape, the take-off line at the top, all to "
                "one scale."
            ),
            "key": _(
                "Black: marker, the toe at its upper end. Line with a dot: where the toe lands, "
                "mean ± SD."
            ),
            "from_line": facts.measured_from_the_line(),
        },
        name=title.name,
        run_up=facts.run_up_line(title),
        lengths=tuple(_length(each, title, shoe_m) for each in found.lengths),
        drawn=runway.draw(found.lengths, title=title, shoe_length_m=shoe_m),
        note=_note(found),
        basis=facts.basis(run_ups, zone=zone),
        caution=told.caution(),
    )


def _note(found: Layout) -> str:
    if found.taken_from is None:
        return last_steps_layout.tell(found).text
    return last_steps_layout.source_text(found.taken_from)


def _length(at: MarkersAt, title: Title, shoe_length_m: float | None) -> Length:
    start = facts.distance(at.start_mark.at_m, shoe_length_m=shoe_length_m)
    check = at.check_mark
    return Length(
        name=_("{name}, {steps}").format(
            name=facts.length_name(at.name), steps=words.steps(at.steps)
        ),
        start=_("Start mark {metres} ({feet}, {shoes})").format(
            metres=start.metres, feet=start.feet, shoes=start.shoes
        ),
        check_mark=""
        if check is None or at.check_footfall is None
        else _("Last check mark {metres}, {steps} left").format(
            metres=words.metres(check.at_m, 2), steps=words.steps(at.check_footfall)
        ),
        rows=tuple(_row(each, title, shoe_length_m) for each in at.markers),
    )


def _row(marker: Marker, title: Title, shoe_length_m: float | None) -> Row:
    after_m = marker.after_check_mark_m
    return Row(
        name=facts.last_footfall_name(marker.footfall),
        foot=facts.foot_at(marker.footfall, title.take_off_foot),
        at=facts.distance(marker.place.at_m, shoe_length_m=shoe_length_m),
        after_check_mark="" if after_m is None else words.metres(after_m, 2),
        lands=_lands(marker.landed),
    )


def _lands(landed: Landed | NotEnoughAttempts) -> str:
    if isinstance(landed, NotEnoughAttempts):
        return _("not enough attempts ({n} of {needed})").format(n=landed.n, needed=landed.needed)
    return _("{mean} ± {spread} ({attempts})").format(
        mean=words.metres(landed.mean_m, 2),
        spread=words.centimetres(landed.sd_m),
        attempts=words.attempts(landed.n),
    )
